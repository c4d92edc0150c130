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
  let issueIndex = null;

  const { starts, owners } = sewermap.shapes;

  function laterals(columns, frame) {
    const count = columns.x.length, scale = 2 ** frame.shift / STEPS, half = frame.stroke / STROKE / STEPS;
    const [left, top] = frame.origin.map((step) => step / STEPS);
    const made = { count, worldX: new Float64Array(count), worldY: new Float64Array(count) };
    made.halfX = new Float32Array(count);
    made.halfY = new Float32Array(count);
    for (let i = 0; i < count; i += 1) {
      const known = columns.half_x[i] !== NO_LINE;
      made.worldX[i] = known ? left + (columns.x[i] + 0.5) * scale : NaN;
      made.worldY[i] = known ? top + (columns.y[i] + 0.5) * scale : NaN;
      made.halfX[i] = known ? columns.half_x[i] * half : 0;
      made.halfY[i] = known ? columns.half_y[i] * half : 0;
    }
    for (const name of ["grade", "scoped", "due", "check_by", "repeats", "n_issues"]) made[name] = columns[name];
    made.street = Uint16Array.from(owners(starts(columns.street_laterals)));
    made.first_issue = starts(columns.n_issues);
    return made;
  }

  function issues(columns, of) {
    const count = columns.kind.length, bytes = () => new Uint8Array(count);
    const made = { count, kind: columns.kind, along: columns.along, first: columns.first };
    for (const name of ["flags", "grade", "state", "side"]) made[name] = bytes();
    made.last = new Uint16Array(count);
    made.lateral = owners(of.first_issue);
    made.worldX = new Float64Array(count);
    made.worldY = new Float64Array(count);
    for (let i = 0; i < count; i += 1) {
      const look = columns.look[i], lateral = made.lateral[i], share = columns.along[i] / 127 - 1, known = columns.along[i] !== NO_PLACE;
      made.grade[i] = look & 7;
      made.state[i] = (look >> 3) & 7;
      made.side[i] = look >> 6;
      made.flags[i] = columns.flags[i] | (known ? 0 : UNPLACED);
      made.last[i] = made.first[i] + columns.seen_for[i];
      made.worldX[i] = known ? of.worldX[lateral] + share * of.halfX[lateral] : NaN;
      made.worldY[i] = known ? of.worldY[lateral] + share * of.halfY[lateral] : NaN;
    }
    return made;
  }

  /** Lines of streets as ground.js traces them, and by part the street's number. */
  function streetLines(columns) {
    const x = Float64Array.from(columns.street_x, (step) => step / STEPS), y = Float64Array.from(columns.street_y, (step) => step / STEPS);
    const from = starts(columns.street_vertices);
    return { x, y, starts: from, boxes: sewermap.shapes.boxes(x, y, from), owner: columns.street_line };
  }

  const city = {
    REPEAT, CROSS_BORE, UNPLACED, STEPS,
    laterals: null,
    issues: null,
    streets: null,
    moved: 0, // by how much, at most, an issue lies elsewhere than its index thinks; world units
    /** Issues by place; made when first asked, for the whole city is drawn without it. */
    get issueIndex() {
      issueIndex ??= sewermap.gridIndex(city.issues.worldX, city.issues.worldY);
      return issueIndex;
    },
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
    city.lateralIndex = sewermap.gridIndex(made.worldX, made.worldY);
    city.laterals = made;
    for (const then of waiting.splice(0)) then(city);
  };

  sewermap.city = city;
})();
