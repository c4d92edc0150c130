// Columns of data.js back into what the page reads: texts by row, places and shapes in world units.
"use strict";
(() => {
  const DEGREES_PER_STEP = 1e-7;

  /** A function from a row to its text; "" where the row says nothing. */
  function text(column) {
    const { words, codes } = column;
    return (row) => (codes[row] < 0 ? "" : words[codes[row]]);
  }

  /** Whole steps of longitude and latitude (null where there is no place) to degrees; NaN where there is none. */
  function degrees(steps) {
    return Float64Array.from(steps, (step) => (step === null ? NaN : step * DEGREES_PER_STEP));
  }

  /** Lines or rings as flat world coordinates: part k of row owner[k] runs from starts[k] to starts[k + 1]. */
  function shapes(packed) {
    const lon = packed.lon, lat = packed.lat, count = lon.length;
    const x = new Float64Array(count), y = new Float64Array(count);
    let lonSteps = 0, latSteps = 0;
    for (let i = 0; i < count; i += 1) {
      lonSteps += lon[i];
      latSteps += lat[i];
      x[i] = sewermap.projection.x(lonSteps * DEGREES_PER_STEP);
      y[i] = sewermap.projection.y(latSteps * DEGREES_PER_STEP);
    }
    const starts = new Uint32Array(packed.vertices.length + 1);
    packed.vertices.forEach((vertices, part) => { starts[part + 1] = starts[part] + vertices; });
    return { x, y, starts, owner: packed.owner, boxes: boxes(x, y, starts) };
  }

  /** Four numbers a part: least x, least y, greatest x, greatest y. */
  function boxes(x, y, starts) {
    const all = new Float64Array(4 * (starts.length - 1));
    for (let part = 0; part < starts.length - 1; part += 1) {
      let west = Infinity, north = Infinity, east = -Infinity, south = -Infinity;
      for (let i = starts[part]; i < starts[part + 1]; i += 1) {
        west = Math.min(west, x[i]);
        east = Math.max(east, x[i]);
        north = Math.min(north, y[i]);
        south = Math.max(south, y[i]);
      }
      all.set([west, north, east, south], 4 * part);
    }
    return all;
  }

  sewermap.columns = { text, degrees, shapes };
})();
