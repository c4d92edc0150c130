// The whole town or city as typed arrays: sewermap.city, which all panels, lists and layers read.
//
// sewermap.city.ready(then)  calls then(city) once, as soon as data/city.js is unpacked. Then there are, by row:
//   laterals: count, street, grade (0 none), scoped (day), due (0 none, 1 not yet, 2 due, 3 checked, 4 lapsed), check_by (day),
//             repeats, n_issues, first_issue (count + 1: lateral i has issues first_issue[i] up to first_issue[i + 1]),
//             worldX, worldY (middle of the line; NaN: it has none), halfX, halfY (from there to its building end)
//   issues:   count, lateral, kind, grade (0 none), state, side, first, last (days), flags (REPEAT, CROSS_BORE, UNPLACED),
//             along (0 tie-in .. 254 building), worldX, worldY (NaN: no place). A place is exact once its cell has arrived.
// Days are counted from 1990-01-01, 0 is none. World units are those of projection.js.
"use strict";
(() => {
  const REPEAT = 1, CROSS_BORE = 2, UNPLACED = 4;
  const STEPS = 2 ** 30; // a step is the world's width over this: 3.7 cm at the equator
  const NO_PLACE = 255, NO_LINE = -128, STROKE = 127;
  const waiting = [];

  const { starts, owners } = sewermap.shapes;

  function laterals(columns, frame) {
    const count = columns.x.length, scale = 2 ** frame.shift / STEPS, half = frame.stroke / STROKE / STEPS;
    const [left, top] = frame.origin.map((step) => step / STEPS);
    const made = { count, first_issue: starts(columns.n_issues) };
    const halves = (steps) => {
      const all = new Float32Array(count);
      for (let i = 0; i < count; i += 1) if (steps[i] !== NO_LINE) all[i] = steps[i] * half;
      return all;
    };
    const middles = (steps, from) => {
      const all = new Float64Array(count), known = columns.half_x;
      for (let i = 0; i < count; i += 1) all[i] = known[i] === NO_LINE ? NaN : from + (steps[i] + 0.5) * scale;
      return all;
    };
    const makers = {
      worldX: () => middles(columns.x, left),
      worldY: () => middles(columns.y, top),
      halfX: () => halves(columns.half_x),
      halfY: () => halves(columns.half_y),
      street: () => Uint16Array.from(owners(starts(columns.street_laterals))),
    };
    for (const name of ["grade", "scoped", "due", "check_by", "repeats", "n_issues"]) makers[name] = () => columns[name];
    return sewermap.lazily(made, makers);
  }

  function issues(columns, of) {
    const count = columns.kind.length, made = { count };
    const bits = (from) => {
      const all = new Uint8Array(count), { look } = columns;
      for (let i = 0; i < count; i += 1) all[i] = (look[i] >> from) & 7;
      return all;
    };
    const places = (middles, halves) => {
      const all = new Float64Array(count), { along } = columns, { lateral } = made;
      for (let i = 0; i < count; i += 1) all[i] = along[i] === NO_PLACE ? NaN : middles[lateral[i]] + (along[i] / 127 - 1) * halves[lateral[i]];
      return all;
    };
    const makers = {
      lateral: () => owners(of.first_issue),
      grade: () => bits(0),
      state: () => bits(3),
      side: () => bits(6),
      flags: () => {
        const all = columns.flags.slice(), { along } = columns;
        for (let i = 0; i < count; i += 1) if (along[i] === NO_PLACE) all[i] |= UNPLACED;
        return all;
      },
      last: () => {
        const all = new Uint16Array(count), { first, seen_for: days } = columns;
        for (let i = 0; i < count; i += 1) all[i] = first[i] + days[i];
        return all;
      },
      worldX: () => places(of.worldX, of.halfX),
      worldY: () => places(of.worldY, of.halfY),
    };
    for (const name of ["kind", "along", "first"]) makers[name] = () => columns[name];
    return sewermap.lazily(made, makers);
  }

  /** Lines of streets as ground.js traces them, and by part the street's number. */
  function streetLines(columns) {
    const x = Float64Array.from(columns.street_x, (step) => step / STEPS), y = Float64Array.from(columns.street_y, (step) => step / STEPS);
    const from = starts(columns.street_vertices);
    return { x, y, starts: from, boxes: sewermap.shapes.boxes(x, y, from), owner: columns.street_line };
  }

  /** The box [west, north, east, south] that holds all lines, world units. */
  function extent({ worldX, worldY, count }, reach) {
    const box = [Infinity, Infinity, -Infinity, -Infinity];
    for (let i = 0; i < count; i += 1) {
      if (worldX[i] < box[0]) box[0] = worldX[i];
      if (worldY[i] < box[1]) box[1] = worldY[i];
      if (worldX[i] > box[2]) box[2] = worldX[i];
      if (worldY[i] > box[3]) box[3] = worldY[i];
    }
    return [box[0] - reach, box[1] - reach, box[2] + reach, box[3] + reach];
  }

  const city = {
    REPEAT, CROSS_BORE, UNPLACED, STEPS,
    laterals: null,
    issues: null,
    streets: null,
    moved: 0, // by how much, at most, an issue lies elsewhere than its index thinks; world units
    ready(then) {
      if (city.laterals) then(city);
      else waiting.push(then);
    },
    /** Where a line's middle lies, as Leaflet's latitude and longitude; null where it has no line. */
    place(lateral) {
      const { worldX, worldY } = city.laterals;
      return Number.isNaN(worldX[lateral]) ? null : sewermap.projection.latLng(worldX[lateral], worldY[lateral]);
    },
    /** Where an issue lies; null where it could not be placed. */
    issuePlace(issue) {
      const { worldX, worldY } = city.issues;
      return Number.isNaN(worldX[issue]) ? null : sewermap.projection.latLng(worldX[issue], worldY[issue]);
    },
  };
  // Laterals and issues by place: the whole city is drawn without them.
  sewermap.lazily(city, {
    lateralIndex: () => sewermap.gridIndex(city.laterals.worldX, city.laterals.worldY),
    issueIndex: () => sewermap.gridIndex(city.issues.worldX, city.issues.worldY),
    extent: () => extent(city.laterals, city.stroke),
  });

  /** Issues of a cell that has arrived, moved to where they are on their line. */
  city.placeExactly = (cell) => {
    const { worldX, worldY } = city.issues;
    for (let row = 0; row < cell.lateral.length; row += 1) {
      if (cell.firstIssue[row] === cell.firstIssue[row + 1]) continue;
      const far = sewermap.shapes.lengths(cell, row);
      for (let k = cell.firstIssue[row]; k < cell.firstIssue[row + 1]; k += 1) {
        if (Number.isNaN(cell.share[k])) continue;
        const issue = cell.issue[k], [[x, y]] = sewermap.shapes.piece(cell, row, cell.share[k], cell.share[k], far);
        city.moved = Math.max(city.moved, Math.abs(x - worldX[issue]), Math.abs(y - worldY[issue]));
        worldX[issue] = x;
        worldY[issue] = y;
      }
    }
  };

  /** data/city.js hands its columns over. */
  sewermap.cityData = async (packed) => {
    const columns = await sewermap.unpack(packed);
    const made = laterals(columns, packed);
    city.issues = issues(columns, made);
    city.streets = streetLines(columns);
    city.blur = 2 ** packed.shift / STEPS;
    city.stroke = packed.stroke / STEPS;
    city.laterals = made;
    for (const then of waiting.splice(0)) then(city);
  };

  sewermap.city = city;
})();
