// Figures as names and values side by side; each knows which figure it is, so that it can be compared with the command line.
"use strict";
(() => {
  const { made } = sewermap.cells;

  /** pairs: [[title, value, name], …]; a value that is not known is a dash. */
  function facts(pairs) {
    return made("dl", { class: "figures" }, ...pairs.map(([title, value, name]) => made("div", { "data-figure": name }, made("dt", {}, title), made("dd", {}, value ?? "–"))));
  }

  sewermap.streetFacts = { facts };
})();
