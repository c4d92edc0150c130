// What a popup says. Everything is set as text: nothing that came in with the data can become markup.
"use strict";
(() => {
  const STOP = "Suspected cross-bore: a gas pipe may run through this sewer. Stop. No cutting, no jetting. Call the gas utility.";
  const LOCATE = "Not a utility locate: have utilities located before digging.";

  function element(tag, className, text) {
    const made = document.createElement(tag);
    if (className) made.className = className;
    if (text) made.textContent = text;
    return made;
  }

  /** Terms and what is said of them; what is not known is left out. */
  function facts(pairs) {
    const list = element("dl");
    for (const [term, text] of pairs) if (text) list.append(element("dt", "", term), element("dd", "", text));
    return list;
  }

  function measure(seen, row) {
    const { length } = sewermap.words, from = length(seen.measure_m[row], seen.sigma_m[row]), to = length(seen.to_measure_m[row]);
    return to ? `from ${from} to ${to}` : from;
  }

  function circle(seen, row) {
    const within = sewermap.words.length(seen.within_m[row]);
    const assumed = seen.accuracy_assumed[row] ? "map accuracy assumed" : "";
    return within ? `within ${within} of the sign${assumed && `; ${assumed}`}` : assumed;
  }

  function observationFacts(seen, row) {
    const { words, rows } = sewermap, reading = words.reading(seen.reading(row), seen.unit(row));
    const to = seen.to_reading(row), percent = seen.percent[row];
    return facts([
      ["Where", rows.place(seen, row)],
      ["Street", seen.address(row).includes(seen.street(row)) ? "" : seen.address(row) && seen.street(row)],
      ["Reading", to ? `${reading} to ${words.reading(to, seen.unit(row))}` : reading],
      ["Run", [seen.run(row), seen.ran_on(row)].filter(Boolean).join(", ")],
      ["From the main", measure(seen, row)],
      ["95 % circle", circle(seen, row)],
      ["Side", words.side(seen.side(row), seen.side_probability[row])],
      ["Grade", seen.role(row) === "defect" ? words.grade(seen.grade[row]) : ""],
      ["Share", percent === null ? "" : `${percent} %`],
      ["Clock", words.clock(seen.clock_from[row], seen.clock_to[row])],
      ["Issue", seen.issue(row)],
      ["Placing", seen.reason(row)],
      ["Remark", seen.remark(row)],
      ["Picture", seen.picture(row)],
      ["Source", rows.source(seen, row)],
    ]);
  }

  /** "1 of 3 here", with buttons to the one before and the next. */
  function pager(here, row, go) {
    const bar = element("p", "pager"), at = here.indexOf(row);
    const step = (text, name, by) => {
      const button = element("button", "", text);
      button.type = "button";
      button.setAttribute("aria-label", name);
      button.addEventListener("click", () => go(here[(at + by + here.length) % here.length]));
      return button;
    };
    bar.append(step("‹", "Previous here", -1), element("span", "", `${at + 1} of ${here.length} here`), step("›", "Next here", 1));
    return bar;
  }

  /** The content for one observation; here: all rows at this place, go(row): show another of them. */
  function observation(seen, row, here, go) {
    const content = element("div", "popup"), title = element("h2", "", sewermap.words.title(seen.kind(row) || "(no kind)"));
    title.prepend(sewermap.symbols.picture(seen.sign[row]));
    content.append(title);
    content.tabIndex = -1;
    content.dataset.row = row;
    if (seen.kind(row) === sewermap.symbols.CROSS_BORE) content.append(element("p", "stop", STOP));
    if (here.length > 1) content.append(pager(here, row, go));
    content.append(observationFacts(seen, row), element("p", "locate", LOCATE));
    return content;
  }

  /** The content for one lateral. */
  function lateral(laterals, row, count) {
    const content = element("div", "popup"), { words } = sewermap, accuracy = words.length(laterals.map_accuracy_m[row]);
    content.append(element("h2", "", `Lateral ${laterals.lateral(row)}`), facts([
      ["Where", laterals.address(row) || laterals.street(row)],
      ["Length", words.length(laterals.length_m[row])],
      ["Pipe", [laterals.material(row), laterals.diameter(row)].filter(Boolean).join(", ")],
      ["Laid", laterals.installed_on(row)],
      ["Line", laterals.method(row)],
      ["Map accuracy", accuracy && accuracy + (laterals.accuracy_assumed[row] ? ", assumed" : "")],
      ["Seen", words.counted(count, "observation", "observations")],
    ]), element("p", "locate", LOCATE));
    content.tabIndex = -1;
    return content;
  }

  sewermap.popup = { observation, lateral };
})();
