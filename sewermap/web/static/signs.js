// The map's signs as SVG, for drawings and lists: the same shapes, drawn by symbols.js into a path's text.
"use strict";
(() => {
  const SPACE = "http://www.w3.org/2000/svg", INK = "#2a1147", PAPER = "#ffffff";
  const round = (value) => Math.round(value * 100) / 100;

  /** An SVG element with attributes and children; what is null is left out. */
  function svg(name, attributes = {}, ...children) {
    const element = document.createElementNS(SPACE, name);
    for (const [key, value] of Object.entries(attributes)) {
      if (value !== null && value !== undefined) element.setAttribute(key, typeof value === "number" ? round(value) : value);
    }
    element.append(...children.filter((child) => child !== null && child !== undefined));
    return element;
  }

  /** What a canvas would be told, as the text of a path. */
  function pen() {
    const steps = [];
    let isOpen = false;
    return {
      text: () => steps.join(""),
      moveTo(x, y) { steps.push(`M${round(x)} ${round(y)}`); isOpen = true; },
      lineTo(x, y) { steps.push(`${isOpen ? "L" : "M"}${round(x)} ${round(y)}`); isOpen = true; },
      closePath() { steps.push("Z"); isOpen = false; },
      rect(x, y, width, height) { steps.push(`M${round(x)} ${round(y)}h${round(width)}v${round(height)}h${round(-width)}Z`); isOpen = false; },
      /** A whole circle: nothing else is asked for. */
      arc(x, y, r) { steps.push(`M${round(x + r)} ${round(y)}a${r} ${r} 0 1 1 ${-2 * r} 0a${r} ${r} 0 1 1 ${2 * r} 0Z`); isOpen = false; },
    };
  }

  /** One sign at x, y with radius r: class of symbols.js, with the double ring of a suspected cross-bore. */
  function sign(index, x, y, r, crossBore = false) {
    const { CLASSES } = sewermap.symbols, kind = CLASSES[index], path = pen(), isLine = index === 0;
    kind.shape(path, x, y, r * kind.size);
    const d = path.text(), group = svg("g", { class: "sign" });
    group.append(svg("path", { d, fill: "none", stroke: PAPER, "stroke-width": isLine ? 5 : 4, "stroke-linejoin": "round" }));
    group.append(svg("path", { d, fill: isLine ? "none" : kind.fill, stroke: kind.stroke, "stroke-width": isLine ? 2.2 : 1.3, "stroke-linejoin": "round" }));
    if (kind.mark) {
      const isTriangle = kind.mark === "2"; // its room is low and narrow
      const text = svg("text", { x, y: y + r * (isTriangle ? 0.2 : 0.06), fill: kind.ink, "font-size": r * (isTriangle ? 1.1 : 1.35), "font-weight": 700, "text-anchor": "middle", "dominant-baseline": "central", "aria-hidden": "true" });
      text.textContent = kind.mark;
      group.append(text);
    }
    for (const more of crossBore ? [0.5, 0.95] : []) {
      group.append(svg("circle", { cx: x, cy: y, r: r * kind.size + r * more, fill: "none", stroke: PAPER, "stroke-width": 2.6 }));
      group.append(svg("circle", { cx: x, cy: y, r: r * kind.size + r * more, fill: "none", stroke: INK, "stroke-width": 1.3 }));
    }
    return group;
  }

  /** A sign as a small picture in a line of text. */
  function picture(index, crossBore = false) {
    const edge = crossBore ? 30 : 22;
    return svg("svg", { class: "sign", width: edge, height: edge, viewBox: `0 0 ${edge} ${edge}`, "aria-hidden": "true", focusable: "false" }, sign(index, edge / 2, edge / 2, 7, crossBore));
  }

  /** The class of sign of an observation or issue. */
  const classOf = (role, grade) => sewermap.symbols.classOf(role, grade ?? null);

  sewermap.signs = { svg, sign, picture, classOf };
})();
