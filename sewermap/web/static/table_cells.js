// What stands in the cells of a table: text of the data, isolated and never markup, and links to the other pages.
"use strict";
(() => {
  const LONG = 160;

  /** An element with text or children; what is null is left out. */
  function made(name, attributes = {}, ...children) {
    const element = document.createElement(name);
    for (const [key, value] of Object.entries(attributes)) {
      if (value !== null && value !== undefined && value !== false) element.setAttribute(key, value === true ? "" : value);
    }
    element.append(...children.filter((child) => child !== null && child !== undefined));
    return element;
  }

  /** Text of the data: marks that turn the writing round turn nothing outside. A long one is folded. */
  function text(value) {
    const whole = String(value);
    if (whole.length <= LONG) return made("bdi", {}, whole);
    const start = [...whole.slice(0, LONG)].slice(0, -1).join("");
    return made("details", { class: "long" }, made("summary", {}, made("bdi", {}, `${start}…`)), made("bdi", {}, whole));
  }

  /** The lateral's name as a link to its page. */
  function lateral(name) {
    return name ? made("a", { href: sewermap.url.href("property", { lateral: name }) }, made("bdi", {}, shortened(name))) : null;
  }

  /** "Map", with the name of what it shows for those who hear the page. */
  function onMap(keys, name) {
    return made("a", { href: sewermap.url.href("index", keys), "aria-label": sewermap.t("list.on_map", { name: shortened(name) }) }, sewermap.t("list.map"));
  }

  function shortened(name) {
    const letters = [...String(name).slice(0, 2 * LONG)];
    return letters.length > LONG ? `${letters.slice(0, LONG).join("")}…` : letters.join("");
  }

  /** A grade as its number, with a word where nobody gave one. */
  function grade(value) {
    return value ? made("span", {}, sewermap.t("list.of_five", { grade: value })) : made("span", { class: "hint" }, sewermap.t("list.none_given"));
  }

  /** What must be done at a suspected cross-bore. */
  const stop = () => made("strong", { class: "stop" }, sewermap.t("list.stop"));

  /** A kind in words; at a suspected cross-bore with what must be done. */
  function kind(name) {
    const told = text(sewermap.words.kind(name));
    return name === "cross-bore" ? made("span", {}, told, " ", stop()) : told;
  }

  /** House and street as one reads them: the street is added where the address does not name it. */
  sewermap.place = (address, street) => (address.toLowerCase().includes(street.toLowerCase()) ? address : `${address} ${street}`.trim());

  /** A table's filter by street, from the streets of its rows. */
  sewermap.streetFilter = (streets) => {
    const names = [...new Set(streets)].filter(Boolean).sort(new Intl.Collator(sewermap.about.language, { numeric: true }).compare);
    return {
      key: "street",
      title: sewermap.t("list.street"),
      choices: [["", sewermap.t("list.every_street")], ...names.map((name) => [name, name])],
      test: (row, choice) => streets[row] === choice,
    };
  };

  sewermap.cells = { made, text, lateral, onMap, grade, kind, stop, shortened };
})();
