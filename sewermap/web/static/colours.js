// How laterals are told apart: by grade, last scoped, due or repeat. One hue from pale to dark, wider as it is graver, dashes for what
// is unknown or over: never by colour alone.
"use strict";
(() => {
  const GREY = "#8d9299", DAYS_A_YEAR = 365.25, DASHES = [5, 4];
  const PURPLE = ["#b9a2da", "#9d7fcb", "#7d56b3", "#5b3192", "#35105e"];
  const BLUE = ["#9cc3d9", "#6aa3c4", "#3f81aa", "#1f5f8b", "#0b3c61"];
  const MODES = {
    grade: [
      { name: "none", colour: GREY, width: 1.2, dash: DASHES },
      ...PURPLE.map((colour, i) => ({ name: `${i + 1}`, colour, width: 1.8 + 0.45 * i, dash: [] })),
    ],
    scoped: [
      { name: "recent", colour: BLUE[0], width: 1.8, dash: [] },
      { name: "over2", colour: BLUE[1], width: 2.2, dash: [] },
      { name: "over5", colour: BLUE[3], width: 2.6, dash: [] },
      { name: "over10", colour: BLUE[4], width: 3, dash: [] },
      { name: "never", colour: BLUE[4], width: 1.6, dash: DASHES },
    ],
    due: [
      { name: "none", colour: GREY, width: 1.2, dash: [] },
      { name: "checked", colour: BLUE[0], width: 1.8, dash: [] },
      { name: "not yet", colour: BLUE[2], width: 2.2, dash: [] },
      { name: "lapsed", colour: BLUE[3], width: 2.6, dash: DASHES },
      { name: "due", colour: BLUE[4], width: 3.4, dash: [] },
    ],
    repeat: [
      { name: "0", colour: GREY, width: 1.2, dash: [] },
      { name: "1", colour: PURPLE[1], width: 2.2, dash: [] },
      { name: "2", colour: PURPLE[3], width: 2.8, dash: [] },
      { name: "3", colour: PURPLE[4], width: 3.4, dash: [] },
    ],
  };
  const DUE_CLASS = [0, 2, 4, 1, 3]; // by code: none, not yet, due, checked, lapsed

  function dayNumber(text) {
    return Math.round((Date.parse(text) - Date.parse("1990-01-01")) / 86400000);
  }

  /** A function from a lateral's row to its class (a row of the mode's classes), for what is in force. */
  function classOf(look) {
    const { laterals } = sewermap.city;
    if (look.colour === "scoped") {
      const scoped = look.scoped || laterals.scoped, today = look.day || dayNumber(sewermap.town.as_of);
      return (row) => {
        if (!scoped[row]) return 4;
        const years = (today - scoped[row]) / DAYS_A_YEAR;
        return years <= 2 ? 0 : years <= 5 ? 1 : years <= 10 ? 2 : 3;
      };
    }
    if (look.colour === "due") return (row) => DUE_CLASS[laterals.due[row]];
    if (look.colour === "repeat") {
      const repeats = look.repeats || laterals.repeats;
      return (row) => Math.min(3, repeats[row]);
    }
    const grade = look.lateralGrade || laterals.grade;
    return (row) => grade[row];
  }

  sewermap.colours = { MODES, classOf, dayNumber, GREY };
})();
