// Lengths in the user's unit first, readings as written, sides, days: what the pages say of values. Needs i18n.js and its data.
"use strict";
(() => {
  const METRES_PER_FOOT = 0.3048; // by definition
  const EPOCH = Date.UTC(1990, 0, 1), DAY = 86400000;
  const { t, tOr, number } = sewermap;
  const formats = {};

  const missing = (value) => value === null || value === undefined || value === "" || Number.isNaN(value);
  const metres = (value) => `${number(value, 2)}\u00a0m`;
  const feet = (value) => `${number(value / METRES_PER_FOOT, 1)}\u00a0ft`;

  /** A length in the user's unit alone. "" where it is not known. */
  function short(value) {
    if (missing(value)) return "";
    return sewermap.about.units === "m" ? metres(value) : feet(value);
  }

  /** A length in both units, the user's own first; with ± where a sigma is given. "" where it is not known. */
  function length(value, sigma = null) {
    if (missing(value)) return "";
    const told = (tell) => (missing(sigma) ? tell(value) : `${tell(value)}\u00a0±\u00a0${tell(sigma)}`);
    const both = [told(feet), told(metres)];
    if (sewermap.about.units === "m") both.reverse();
    return `${both[0]} (${both[1]})`;
  }

  /** Stretches told in metres, like "0.0–3.2 m", in the user's unit first. */
  function stretches(text) {
    if (!text || sewermap.about.units === "m") return text;
    const inFeet = text.replace(/([\d.]+)–([\d.]+) m/g, (_, from, to) => `${number(Number(from) / METRES_PER_FOOT, 1)}–${feet(Number(to))}`);
    return inFeet === text ? text : `${inFeet} (${text})`;
  }

  /** A reading as it was written; the run's unit is added only to a bare number. */
  function reading(text, unit) {
    if (!text || !unit) return text || "";
    return /^[\s\d.,]+$/.test(text) ? `${text} ${unit}` : t("told.counts_in", { reading: text, unit });
  }

  function percent(share) {
    // Never "100 %": nothing here is certain.
    const rounded = Math.round(share * 100);
    if (rounded >= 100) return t("told.over");
    return rounded <= 0 ? t("told.under") : t("told.percent", { number: number(rounded) });
  }

  /** Whose side, with the probability of what is said where it is given (the share that says private). */
  function side(name, privateShare = null) {
    if (!name || name === "unknown") return t("side.unknown");
    const said = tOr(`side.${name}`, name);
    if (missing(privateShare)) return said;
    if (name === "public") return t("side.sure", { side: said, percent: percent(1 - privateShare) });
    return t(name === "private" ? "side.sure" : "side.likely", { side: said, percent: percent(privateShare) });
  }

  function clock(from, to) {
    if (missing(from)) return "";
    return missing(to) || to === from ? t("told.clock", { from }) : t("told.clock_to", { from, to });
  }

  function grade(value) {
    return missing(value) || value === 0 ? t("told.no_grade") : t("told.grade", { grade: value });
  }

  /** The days since 1990 of a text YYYY-MM-DD, 0 for none. */
  function dayNumber(text) {
    const at = Date.parse(`${text}T00:00:00Z`);
    return Number.isNaN(at) ? 0 : Math.round((at - EPOCH) / DAY);
  }

  /** The text YYYY-MM-DD of days since 1990, "" for 0. */
  function isoDay(days) {
    return days ? new Date(EPOCH + days * DAY).toISOString().slice(0, 10) : "";
  }

  function told(day, options, name) {
    if (missing(day) || day === 0) return "";
    const at = typeof day === "number" ? EPOCH + day * DAY : Date.parse(`${day.slice(0, 10)}T00:00:00Z`);
    if (Number.isNaN(at)) return String(day);
    formats[name] ??= new Intl.DateTimeFormat(sewermap.about.language === "en" ? "en-GB" : sewermap.about.language, { timeZone: "UTC", ...options });
    return formats[name].format(at);
  }

  /** A day, given as YYYY-MM-DD or as days since 1990, as the language writes it. The month in letters: nobody swaps it. */
  const day = (given) => told(given, { day: "numeric", month: "short", year: "numeric" }, "day");
  const month = (given) => told(given, { month: "long", year: "numeric" }, "month");

  /** Text with its first letter large, for titles. */
  function title(text) {
    return text.charAt(0).toUpperCase() + text.slice(1);
  }

  const kind = (name) => tOr(`kind.${name}`, name);
  const state = (name) => tOr(`state.${name}`, name);
  const work = (name) => tOr(`work.${name}`, name);

  sewermap.words = { length, short, stretches, reading, percent, side, clock, grade, title, day, month, dayNumber, isoDay, kind, state, work, missing };
})();
