// What the signs mean.
"use strict";
(() => {
  function entry(picture, text) {
    const item = document.createElement("li"), words = document.createElement("span");
    words.textContent = text;
    item.append(picture, words);
    return item;
  }

  /** A short stroke as the map draws it. */
  function stroke(colour, width, dash = []) {
    const canvas = document.createElement("canvas"), scale = Math.max(1, window.devicePixelRatio || 1);
    canvas.width = canvas.height = 24 * scale;
    canvas.className = "sign";
    canvas.setAttribute("aria-hidden", "true");
    const context = canvas.getContext("2d");
    context.scale(scale, scale);
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.setLineDash(dash);
    context.beginPath();
    context.moveTo(1, 12);
    context.lineTo(23, 12);
    context.stroke();
    return canvas;
  }

  /** The five grades in one row, from the least to the worst. */
  function ramp() {
    const item = document.createElement("li"), words = document.createElement("span");
    item.className = "ramp";
    words.textContent = "grade 1 (least) to 5 (worst)";
    item.append(...[3, 4, 5, 6, 7].map((i) => sewermap.symbols.picture(i)), words);
    return item;
  }

  function fill(seen) {
    const list = document.createElement("ul"), { CLASSES, picture } = sewermap.symbols;
    const used = new Set(seen.placed.map((row) => seen.sign[row]));
    list.className = "legend";
    list.append(ramp());
    for (let i = 2; i >= 0; i -= 1) if (used.has(i)) list.append(entry(picture(i), CLASSES[i].words));
    if (seen.placed.some((row) => seen.kind(row) === sewermap.symbols.CROSS_BORE)) {
      list.append(entry(picture(7, true), "double ring: suspected cross-bore"));
    }
    list.append(entry(stroke(sewermap.dots.LATERAL, 2.4), "lateral"), entry(stroke(sewermap.ground.MAIN, 1.8, [7, 4]), "public main"));
    const note = document.createElement("p");
    note.className = "hint";
    note.textContent = "Circle: 95 places in 100 lie inside it. ± is one standard deviation: about two in three lie within it.";
    document.getElementById("legend").append(list, note);
  }

  sewermap.legend = { fill };
})();
