// Laterals, observations and their circles, drawn tile by tile on canvas over the ground.
"use strict";
(() => {
  const LATERAL = "#39424a";
  const CIRCLE_FILL = "rgba(106, 63, 160, 0.10)", CIRCLE_EDGE = "rgba(74, 36, 122, 0.75)", QUIET_EDGE = "rgba(74, 80, 88, 0.45)";
  const SMALLEST_CIRCLE = 3; // pixels; below it the sign covers the circle

  /** Half the size of a sign in pixels at a zoom. */
  function signSize(zoom) {
    return [[19, 9], [18, 7.2], [17, 4.8], [16, 3.4]].find(([least]) => zoom >= least)?.[1] ?? 2.4;
  }

  /** Observations in drawing order: the worst last. */
  function drawingOrder(seen) {
    return seen.placed.slice().sort((a, b) => seen.sign[a] - seen.sign[b] || a - b);
  }

  function circles(context, frame, seen, rows) {
    for (const row of rows) {
      const within = seen.within_m[row];
      if (within === null) continue;
      const rx = within * seen.east[row] * frame.world, ry = within * seen.north[row] * frame.world;
      const x = seen.x[row] * frame.world - frame.left, y = seen.y[row] * frame.world - frame.top;
      if (rx < SMALLEST_CIRCLE || x < -rx || y < -ry || x > frame.edge + rx || y > frame.edge + ry) continue;
      context.beginPath();
      context.ellipse(x, y, rx, ry, 0, 0, 2 * Math.PI);
      const defect = seen.sign[row] >= 2;
      if (defect) {
        context.fillStyle = CIRCLE_FILL;
        context.fill();
      }
      context.strokeStyle = defect ? CIRCLE_EDGE : QUIET_EDGE;
      context.lineWidth = 1;
      context.stroke();
    }
  }

  function signs(context, frame, seen, rows) {
    const size = signSize(frame.zoom), margin = 3 * size + 10;
    for (const row of rows) {
      const x = seen.x[row] * frame.world - frame.left, y = seen.y[row] * frame.world - frame.top;
      if (x < -margin || y < -margin || x > frame.edge + margin || y > frame.edge + margin) continue;
      sewermap.symbols.draw(context, seen.sign[row], x, y, size, seen.kind(row) === sewermap.symbols.CROSS_BORE);
    }
  }

  /** The chosen observation over all others: its circle bold, its sign larger. */
  function marked(context, frame, seen, row) {
    const x = seen.x[row] * frame.world - frame.left, y = seen.y[row] * frame.world - frame.top;
    const within = (seen.within_m[row] || 0) * frame.world;
    context.beginPath();
    context.ellipse(x, y, within * seen.east[row], within * seen.north[row], 0, 0, 2 * Math.PI);
    context.strokeStyle = sewermap.symbols.INK;
    context.lineWidth = 2.5;
    context.stroke();
    const size = 1.3 * Math.max(7, signSize(frame.zoom));
    sewermap.symbols.draw(context, seen.sign[row], x, y, size, seen.kind(row) === sewermap.symbols.CROSS_BORE);
  }

  /** The layer; state says which rows are shown, which one is marked and whether circles are drawn. Call redraw() after a change. */
  function layer(laterals, seen, state) {
    const order = drawingOrder(seen);
    const paint = (context, frame) => {
      context.beginPath();
      sewermap.ground.trace(context, laterals.line, frame, 4, false);
      sewermap.ground.stroke(context, LATERAL, frame.zoom >= 18 ? 2.4 : frame.zoom >= 16 ? 1.6 : 0.8);
      const rows = order.filter((row) => state.shown[row]);
      if (state.circles) circles(context, frame, seen, rows);
      signs(context, frame, seen, rows);
      if (state.marked !== null) marked(context, frame, seen, state.marked);
    };
    return new sewermap.ground.CanvasTiles(paint, { pane: "signs" });
  }

  sewermap.dots = { layer, signSize, LATERAL };
})();
