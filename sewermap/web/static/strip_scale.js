// From measures to pixels and back to words: the scale of a strip, its ticks, the room that texts take, rows of what does not overlap.
"use strict";
(() => {
  const PAD = 34, LEAST_WIDTH = 680, LEAST_PER_M = 8, FONT = "12.5px system-ui, 'Segoe UI', 'DejaVu Sans', sans-serif";
  const METRES_PER_FOOT = 0.3048, TICK_ROOM = 52;
  let context = null;

  /** The scale of a line of so many metres in so many pixels: {width, x(measure), perM}. */
  function scale(lengthM, room) {
    const width = Math.max(Math.floor(room), LEAST_WIDTH, Math.ceil(lengthM * LEAST_PER_M + 2 * PAD));
    const perM = (width - 2 * PAD) / Math.max(lengthM, 0.1);
    return { width, perM, x: (measure) => PAD + Math.min(Math.max(measure, 0), lengthM) * perM };
  }

  /** Round values of a unit ("ft", "m") along the line, as far apart as their words need: [{measure, words}]. */
  function ticks(lengthM, perM, unit) {
    const metres = unit === "ft" ? METRES_PER_FOOT : 1, steps = [0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500];
    const step = steps.find((each) => each * metres * perM >= TICK_ROOM) || 1000, made = [];
    for (let k = 0; k * step * metres <= lengthM + 1e-9 && k < 1000; k += 1) {
      made.push({ measure: k * step * metres, words: `${sewermap.number(Math.round(k * step * 10) / 10)}${k ? "" : `\u00a0${unit}`}` });
    }
    return made;
  }

  /** How wide a text is, in pixels. */
  function wide(text, bold = false) {
    context ??= document.createElement("canvas").getContext("2d");
    context.font = bold ? `700 ${FONT}` : FONT;
    return context.measureText(text).width;
  }

  /** Puts each item {left, right} in the first lane where it meets nothing; sets item.lane and returns how many lanes there are. */
  function lanes(items) {
    const ends = [];
    for (const item of [...items].sort((a, b) => a.left - b.left)) {
      let lane = ends.findIndex((end) => end + 4 <= item.left);
      if (lane < 0) lane = ends.length;
      ends[lane] = item.right;
      item.lane = lane;
    }
    return Math.max(ends.length, 1);
  }

  /** Text of the data for a drawing: one line, not longer than so many signs. */
  function cut(text, most = 34) {
    const signs = [...String(text ?? "").slice(0, 4 * most).replace(/[\s\p{C}]+/gu, " ").trim()];
    return signs.length > most ? `${signs.slice(0, most - 1).join("")}…` : signs.join("");
  }

  sewermap.stripScale = { PAD, scale, ticks, wide, lanes, cut };
})();
