// What lies under a click: the signs near a pixel, nearest first, else the lateral.
"use strict";
(() => {
  const FINGER = 20, MOUSE = 11, LINE = 7, SAME_PLACE = 8; // pixels

  /** Pixels that a click may miss by. */
  function reach() {
    return window.matchMedia("(pointer: coarse)").matches ? FINGER : MOUSE;
  }

  /** A function from world units to container pixels in the map's present view. */
  function toPixels(map) {
    const world = sewermap.projection.worldPixels(map.getZoom()), corner = map.getPixelBounds().min;
    return (x, y) => [x * world - corner.x, y * world - corner.y];
  }

  /** Rows shown within radius of a point, nearest first. */
  function near(map, seen, state, point, radius) {
    const pixels = toPixels(map), found = [];
    for (const row of seen.placed) {
      if (!state.shown[row]) continue;
      const [x, y] = pixels(seen.x[row], seen.y[row]), distance = Math.hypot(x - point.x, y - point.y);
      if (distance <= radius) found.push([distance, row]);
    }
    return found.sort((a, b) => a[0] - b[0] || a[1] - b[1]).map(([, row]) => row);
  }

  /** The row itself and what else stands at its place. */
  function samePlace(map, seen, state, row) {
    const [x, y] = toPixels(map)(seen.x[row], seen.y[row]);
    const all = near(map, seen, state, L.point(x, y), SAME_PLACE);
    return [row, ...all.filter((other) => other !== row)].sort((a, b) => a - b);
  }

  /** The lateral nearest to a point, or null when none is within reach. */
  function lateralAt(map, laterals, point) {
    const pixels = toPixels(map), { x, y, starts, owner } = laterals.line;
    let best = LINE, found = null;
    for (let part = 0; part < starts.length - 1; part += 1) {
      for (let i = starts[part]; i < starts[part + 1] - 1; i += 1) {
        const a = L.point(pixels(x[i], y[i])), b = L.point(pixels(x[i + 1], y[i + 1]));
        const distance = L.LineUtil.pointToSegmentDistance(point, a, b);
        if (distance < best) [best, found] = [distance, owner[part]];
      }
    }
    return found;
  }

  sewermap.picking = { near, samePlace, lateralAt, reach };
})();
