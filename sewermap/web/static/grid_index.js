// Points in squares, so that a view, a tile or a click looks at those near it alone.
"use strict";
(() => {
  const PER_SQUARE = 8, MOST_SQUARES = 512;

  /** An index of points (NaN: none). The points may move a little later: give their greatest move as margin to each question. */
  function make(x, y) {
    let west = Infinity, north = Infinity, east = -Infinity, south = -Infinity, count = 0;
    for (let i = 0; i < x.length; i += 1) {
      if (Number.isNaN(x[i])) continue;
      count += 1;
      west = Math.min(west, x[i]);
      east = Math.max(east, x[i]);
      north = Math.min(north, y[i]);
      south = Math.max(south, y[i]);
    }
    const squares = Math.max(1, Math.min(MOST_SQUARES, Math.ceil(Math.sqrt(count / PER_SQUARE))));
    const edge = Math.max(east - west, south - north, 1e-12) / squares;
    const column = (value) => Math.max(0, Math.min(squares - 1, Math.floor((value - west) / edge)));
    const row = (value) => Math.max(0, Math.min(squares - 1, Math.floor((value - north) / edge)));
    const first = new Uint32Array(squares * squares + 1), order = new Uint32Array(count);
    for (let i = 0; i < x.length; i += 1) if (!Number.isNaN(x[i])) first[row(y[i]) * squares + column(x[i]) + 1] += 1;
    for (let i = 0; i < squares * squares; i += 1) first[i + 1] += first[i];
    const next = first.slice();
    for (let i = 0; i < x.length; i += 1) {
      if (Number.isNaN(x[i])) continue;
      const square = row(y[i]) * squares + column(x[i]);
      order[next[square]] = i;
      next[square] += 1;
    }
    /** Call each(row) for the points in a box (world units) and some around it; rows rise within a square. */
    function within(box, each) {
      if (!count || box[2] < west || box[0] > east || box[3] < north || box[1] > south) return;
      const from = column(box[0]), to = column(box[2]), last = row(box[3]);
      for (let r = row(box[1]); r <= last; r += 1) {
        for (let k = first[r * squares + from]; k < first[r * squares + to + 1]; k += 1) each(order[k]);
      }
    }
    return { within };
  }

  sewermap.gridIndex = make;
})();
