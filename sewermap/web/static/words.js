// An observation or a lateral in plain words and numbers with their units.
"use strict";
(() => {
  const METRES_PER_FOOT = 0.3048; // by definition
  const SIDES = { private: "private side", public: "public side", undetermined: "undetermined" };

  function metres(value, places = 2) {
    return `${value.toFixed(places)}\u00a0m`;
  }

  function feet(value) {
    return `${(value / METRES_PER_FOOT).toFixed(1)}\u00a0ft`;
  }

  /** A length in both units, the town's own first; with ± where a sigma is given. "" where it is not known. */
  function length(value, sigma = null) {
    if (value === null || value === undefined) return "";
    const told = (tell) => (sigma === null ? tell(value) : `${tell(value)}\u00a0±\u00a0${tell(sigma)}`);
    const both = [told(feet), told((m) => metres(m))];
    if (sewermap.town.units === "m") both.reverse();
    return `${both[0]} (${both[1]})`;
  }

  /** A reading as it was written; the run's unit is added only to a bare number. */
  function reading(text, unit) {
    if (!text || !unit) return text;
    return /^[\s\d.,]+$/.test(text) ? `${text} ${unit}` : `${text} (run counts in ${unit})`;
  }

  function percent(share) {
    // Never "100 %": nothing here is certain.
    const rounded = Math.round(share * 100);
    if (rounded >= 100) return "over 99 %";
    return rounded <= 0 ? "under 1 %" : `${rounded} %`;
  }

  /** Whose side, with the probability of what is said. */
  function side(name, privateShare) {
    if (!name) return "not known (no property line known)";
    const said = SIDES[name] || name;
    if (privateShare === null) return said;
    if (name === "public") return `${said}, ${percent(1 - privateShare)} sure`;
    return name === "private" ? `${said}, ${percent(privateShare)} sure` : `${said}: ${percent(privateShare)} likely private`;
  }

  function clock(from, to) {
    if (from === null) return "";
    return to === null || to === from ? `${from} o'clock` : `${from} to ${to} o'clock`;
  }

  function grade(value) {
    return value === null ? "no grade given" : `grade ${value} of 5`;
  }

  /** Text with its first letter large, for titles. */
  function title(text) {
    return text.charAt(0).toUpperCase() + text.slice(1);
  }

  function counted(count, one, many) {
    return `${count.toLocaleString("en")} ${count === 1 ? one : many}`;
  }

  sewermap.words = { length, reading, side, clock, grade, title, counted };
})();
