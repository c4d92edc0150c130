// Lines and rings as flat world coordinates: part k runs from starts[k] to starts[k + 1]. A cell's bring them; canvases draw them.
"use strict";
(() => {
  /** Counts summed up: where each part starts, and the end of the last. */
  function starts(counts) {
    const all = new Uint32Array(counts.length + 1);
    for (let i = 0; i < counts.length; i += 1) all[i + 1] = all[i] + counts[i];
    return all;
  }

  /** By row of the finer table, its row in the coarser one. */
  function owners(first) {
    const all = new Uint32Array(first[first.length - 1]);
    for (let i = 0; i < first.length - 1; i += 1) all.fill(i, first[i], first[i + 1]);
    return all;
  }

  /** Four numbers a part: least x, least y, greatest x, greatest y. */
  function boxes(x, y, from) {
    const all = new Float64Array(4 * (from.length - 1));
    for (let part = 0; part < from.length - 1; part += 1) {
      let west = Infinity, north = Infinity, east = -Infinity, south = -Infinity;
      for (let i = from[part]; i < from[part + 1]; i += 1) {
        if (x[i] < west) west = x[i];
        if (x[i] > east) east = x[i];
        if (y[i] < north) north = y[i];
        if (y[i] > south) south = y[i];
      }
      all.set([west, north, east, south], 4 * part);
    }
    return all;
  }

  /** Shapes out of vertex counts and steps from a corner (world units). */
  function fromSteps(vertices, xSteps, ySteps, corner, step) {
    const x = Float64Array.from(xSteps, (steps) => corner[0] + steps * step), y = Float64Array.from(ySteps, (steps) => corner[1] + steps * step);
    const from = starts(vertices);
    return { x, y, starts: from, boxes: boxes(x, y, from) };
  }

  /** Does the part's box, widened by margin pixels, touch the window? */
  function touches(all, part, frame, margin) {
    const { world, left, top, edge } = frame, at = 4 * part;
    return all[at] * world <= left + edge + margin && all[at + 2] * world >= left - margin &&
      all[at + 1] * world <= top + edge + margin && all[at + 3] * world >= top - margin;
  }

  /** Add one part to the path. */
  function tracePart(context, shapes, part, frame) {
    const { x, y } = shapes, { world, left, top } = frame, first = shapes.starts[part];
    context.moveTo(x[first] * world - left, y[first] * world - top);
    for (let i = first + 1; i < shapes.starts[part + 1]; i += 1) context.lineTo(x[i] * world - left, y[i] * world - top);
  }

  /** Add every part that touches the window to the path. */
  function trace(context, shapes, frame, margin, closed) {
    for (let part = 0; part < shapes.starts.length - 1; part += 1) {
      if (!touches(shapes.boxes, part, frame, margin)) continue;
      tracePart(context, shapes, part, frame);
      if (closed) context.closePath();
    }
  }

  /** Length of a part from its first vertex to each of its vertices, in world units. */
  function lengths(shapes, part) {
    const first = shapes.starts[part], all = new Float64Array(shapes.starts[part + 1] - first);
    for (let i = 1; i < all.length; i += 1) {
      all[i] = all[i - 1] + Math.hypot(shapes.x[first + i] - shapes.x[first + i - 1], shapes.y[first + i] - shapes.y[first + i - 1]);
    }
    return all;
  }

  /** The piece of a part between two shares of its length, as [x, y] pairs; the same share twice gives one point. */
  function piece(shapes, part, from, to, far = lengths(shapes, part)) {
    const first = shapes.starts[part], total = far[far.length - 1];
    const a = Math.max(0, from) * total, b = Math.min(1, to) * total, points = [pointAt(shapes, first, far, a)];
    if (b <= a) return points;
    for (let i = 0; i < far.length; i += 1) if (far[i] > a && far[i] < b) points.push([shapes.x[first + i], shapes.y[first + i]]);
    points.push(pointAt(shapes, first, far, b));
    return points;
  }

  function pointAt(shapes, first, far, distance) {
    let i = 1;
    while (i < far.length - 1 && far[i] < distance) i += 1;
    const step = far[i] - far[i - 1], share = step > 0 ? (distance - far[i - 1]) / step : 0;
    const at = first + i;
    return [shapes.x[at - 1] + share * (shapes.x[at] - shapes.x[at - 1]), shapes.y[at - 1] + share * (shapes.y[at] - shapes.y[at - 1])];
  }

  sewermap.shapes = { starts, owners, boxes, fromSteps, touches, trace, tracePart, lengths, piece };
})();
