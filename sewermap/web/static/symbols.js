// The signs of the map: a shape for each grade and role, one hue from pale to dark.
"use strict";
(() => {
  const INK = "#2a1147";
  const GREY = "#4a5058";
  const PAPER = "#ffffff";
  // Shape, fill and the colour of the number inside, by class of sign. The later is drawn over the earlier: the worst last.
  const CLASSES = [
    { name: "look", words: "what the camera could not see or pass", shape: cross, fill: GREY, stroke: GREY, size: 0.8 },
    { name: "feature", words: "feature of the line", shape: bar, fill: GREY, stroke: GREY, size: 0.8 },
    { name: "ungraded", words: "defect without a grade", shape: circle, fill: PAPER, stroke: INK, mark: "?", ink: INK, size: 1 },
    { name: "grade 1", words: "grade 1", shape: circle, fill: "#ded3ef", stroke: INK, mark: "1", ink: INK, size: 1 },
    { name: "grade 2", words: "grade 2", shape: triangle, fill: "#bfa8df", stroke: INK, mark: "2", ink: INK, size: 1.2 },
    { name: "grade 3", words: "grade 3", shape: square, fill: "#855fba", stroke: INK, mark: "3", ink: PAPER, size: 1.05 },
    { name: "grade 4", words: "grade 4", shape: diamond, fill: "#6a3fa0", stroke: INK, mark: "4", ink: PAPER, size: 1.3 },
    { name: "grade 5", words: "grade 5", shape: star, fill: "#35105e", stroke: INK, mark: "5", ink: PAPER, size: 1.5 },
  ];
  const CROSS_BORE = "cross-bore";
  const drawn = new Map();

  /** The class of sign (a row of CLASSES) of an observation. */
  function classOf(role, grade) {
    if (role === "look") return 0;
    if (role === "feature") return 1;
    return grade === null ? 2 : Math.min(7, Math.max(3, Math.round(grade) + 2));
  }

  function polygon(path, x, y, radii, turn) {
    radii.forEach((radius, corner) => {
      const angle = turn + (corner * 2 * Math.PI) / radii.length;
      path.lineTo(x + radius * Math.sin(angle), y - radius * Math.cos(angle));
    });
    path.closePath();
  }

  function circle(path, x, y, r) {
    path.moveTo(x + r, y);
    path.arc(x, y, r, 0, 2 * Math.PI);
  }
  function triangle(path, x, y, r) { polygon(path, x, y + r * 0.15, [r, r, r], 0); }
  function square(path, x, y, r) { path.rect(x - r * 0.86, y - r * 0.86, r * 1.72, r * 1.72); }
  function diamond(path, x, y, r) { polygon(path, x, y, [r, r, r, r], 0); }
  function star(path, x, y, r) { polygon(path, x, y, Array.from({ length: 16 }, (_, i) => (i % 2 ? r * 0.72 : r)), 0); }
  function bar(path, x, y, r) { path.rect(x - r, y - r * 0.45, r * 2, r * 0.9); }
  function cross(path, x, y, r) {
    path.moveTo(x - r * 0.8, y - r * 0.8);
    path.lineTo(x + r * 0.8, y + r * 0.8);
    path.moveTo(x + r * 0.8, y - r * 0.8);
    path.lineTo(x - r * 0.8, y + r * 0.8);
  }

  /** Draw one sign at pixel x, y with radius r; the number stands inside where it can be read. */
  function draw(context, index, x, y, r, crossBore) {
    const sign = CLASSES[index], radius = r * sign.size;
    context.beginPath();
    sign.shape(context, x, y, radius);
    context.lineJoin = "round";
    context.lineWidth = sign.shape === cross ? 5 : 3.5;
    context.strokeStyle = PAPER; // a halo, so that a dark sign stands off a dark line
    context.stroke();
    if (sign.shape !== cross) {
      context.fillStyle = sign.fill;
      context.fill();
    }
    context.lineWidth = sign.shape === cross ? 2.2 : 1.3;
    context.strokeStyle = sign.stroke;
    context.stroke();
    if (sign.mark && r >= 7) mark(context, sign, x, y, r);
    if (crossBore) ring(context, x, y, radius + r / 2, radius + 0.95 * r);
  }

  function mark(context, sign, x, y, r) {
    context.fillStyle = sign.ink;
    context.font = `700 ${Math.round(r * 1.35)}px system-ui, sans-serif`;
    context.textAlign = "center";
    context.textBaseline = "middle";
    context.fillText(sign.mark, x, y + r * (sign.shape === triangle ? 0.3 : 0.08));
  }

  /** The double ring around a suspected cross-bore. */
  function ring(context, x, y, ...radii) {
    context.strokeStyle = INK;
    context.lineWidth = Math.min(1.6, radii[0] / 7);
    for (const radius of radii) {
      context.beginPath();
      context.arc(x, y, radius, 0, 2 * Math.PI);
      context.stroke();
    }
  }

  /** A small picture of a sign for legends and lists: each is drawn once, for a list has a hundred. */
  function picture(index, crossBore = false, edge = 24) {
    const scale = Math.max(1, window.devicePixelRatio || 1), key = `${index} ${crossBore} ${edge} ${scale}`, image = new Image(edge, edge);
    if (!drawn.has(key)) drawn.set(key, drawnAs(index, crossBore, edge, scale));
    image.src = drawn.get(key);
    image.alt = "";
    image.className = "sign";
    return image;
  }

  function drawnAs(index, crossBore, edge, scale) {
    const canvas = document.createElement("canvas");
    canvas.width = canvas.height = edge * scale;
    const context = canvas.getContext("2d", { willReadFrequently: true });
    context.scale(scale, scale);
    draw(context, index, edge / 2, edge / 2, crossBore ? 4.6 : 7, crossBore);
    return canvas.toDataURL();
  }

  sewermap.symbols = { CLASSES, CROSS_BORE, INK, classOf, draw, picture };
})();
