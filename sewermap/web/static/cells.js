// Cells of the city, loaded by script tag where somebody looks (a page opened from the disk may not fetch), and kept for a while.
"use strict";
(() => {
  const MOST_KEPT = 120, STEP = 1 / sewermap.city.STEPS, CELL = 2 ** 15;
  const NO_SHARE = 65535, SHARES = 65534, LINE_SHARES = 254, SIGMA_STEP_M = 0.05;
  const KINDS = { cell: "cell", ground: "ground" };
  const listeners = [], all = { cell: null, ground: null };
  let clock = 0;

  /** Every cell there is, with its box in world units; made when first asked for. */
  function cells(kind) {
    if (!all[kind]) {
      const rows = kind === KINDS.cell ? sewermap.town.cells.ids : sewermap.town.cells.ground, skip = kind === KINDS.cell ? 4 : 2;
      all[kind] = new Map(rows.map((row) => {
        const corner = [row[0] * CELL * STEP, row[1] * CELL * STEP], [west, north, east, south] = row.slice(skip).map((steps) => steps * STEP);
        const box = [corner[0] + west, corner[1] + north, corner[0] + east, corner[1] + south];
        return [`${row[0]}-${row[1]}`, { name: `${row[0]}-${row[1]}`, corner, box, state: "there", data: null, used: 0, then: [] }];
      }));
    }
    return all[kind];
  }

  function meets(a, b) {
    return a[0] <= b[2] && a[2] >= b[0] && a[1] <= b[3] && a[3] >= b[1];
  }

  /** The cells whose box meets a box (world units). */
  function meeting(kind, box) {
    return [...cells(kind).values()].filter((cell) => meets(cell.box, box));
  }

  function load(kind, cell) {
    if (cell.state !== "there") return;
    cell.state = "asked";
    const script = document.createElement("script");
    script.src = `data/${kind}-${cell.name}.js`;
    script.addEventListener("load", () => script.remove());
    script.addEventListener("error", () => {
      script.remove();
      cell.state = "missing";
    });
    document.head.append(script);
  }

  /** The data of the cells that meet a box and are here; the others are loaded, and listeners are told when they come. */
  function wanted(kind, box) {
    clock += 1;
    const here = [];
    for (const cell of meeting(kind, box)) {
      cell.used = clock;
      if (cell.data) here.push(cell.data);
      else load(kind, cell);
    }
    return here;
  }

  async function arrived(kind, x, y, packed, read) {
    const cell = cells(kind).get(`${x}-${y}`);
    if (!cell) return;
    cell.data = read(await sewermap.unpack(packed), cell);
    cell.state = "here";
    forgetOldest(kind);
    for (const then of cell.then.splice(0)) then(cell.data);
    for (const listener of listeners) listener(kind, cell.box);
  }

  /** A whole city would fill the memory: what was not looked at for longest goes first. */
  function forgetOldest(kind) {
    const here = [...cells(kind).values()].filter((cell) => cell.data).sort((a, b) => a.used - b.used);
    for (const cell of here.slice(0, Math.max(0, here.length - MOST_KEPT))) {
      cell.data = null;
      cell.state = "there";
    }
  }

  /** A cell's lines, by row of the cell: lateral, first issue in the cell's order; and by issue its number, shares and sigma. */
  function lines(columns, cell) {
    const { first_issue, n_issues } = sewermap.city.laterals, count = columns.lateral.length;
    const shapes = sewermap.shapes.fromSteps(columns.vertices, columns.x, columns.y, cell.corner, STEP);
    const data = { ...shapes, name: cell.name, box: cell.box, lateral: columns.lateral };
    data.propertyLine = Float32Array.from(columns.property_line, (share) => (share > LINE_SHARES ? NaN : share / LINE_SHARES));
    data.firstIssue = sewermap.shapes.starts(columns.lateral.map((lateral) => n_issues[lateral]));
    data.issue = new Uint32Array(columns.place.length);
    for (let row = 0; row < count; row += 1) {
      const first = data.firstIssue[row], of = first_issue[columns.lateral[row]];
      for (let k = first; k < data.firstIssue[row + 1]; k += 1) data.issue[k] = of + k - first;
    }
    data.share = Float32Array.from(columns.place, (share) => (share === NO_SHARE ? NaN : share / SHARES));
    data.sigma_m = Float32Array.from(columns.sigma, (steps) => steps * SIGMA_STEP_M);
    data.toShare = new Float32Array(columns.place.length).fill(NaN);
    columns.long_issue.forEach((k, i) => { data.toShare[k] = columns.long_to[i] / SHARES; });
    sewermap.city.placeExactly(data);
    return data;
  }

  function ground(columns, cell) {
    const of = (name) => ["vertices", "x", "y"].map((part) => columns[`${name}_${part}`]);
    const layer = (name) => sewermap.shapes.fromSteps(...of(name), cell.corner, STEP);
    return { box: cell.box, parcels: layer("parcels"), buildings: layer("buildings"), mains: layer("mains") };
  }

  /** Call then(data, row in it) with the cell that holds a lateral; never where it has no line. */
  function holding(lateral, then) {
    const { worldX, worldY } = sewermap.city.laterals, blur = sewermap.city.blur;
    if (Number.isNaN(worldX[lateral])) return;
    const edge = CELL * STEP, box = [worldX[lateral] - blur, worldY[lateral] - blur, worldX[lateral] + blur, worldY[lateral] + blur];
    // Places in city.js are rounded: at the edge of a cell it may be the next one.
    for (const cell of cells(KINDS.cell).values()) {
      if (!meets([cell.corner[0], cell.corner[1], cell.corner[0] + edge, cell.corner[1] + edge], box)) continue;
      const found = (data) => {
        const row = data.lateral.indexOf(lateral);
        if (row >= 0) then(data, row);
      };
      if (cell.data) found(cell.data);
      else {
        cell.then.push(found);
        load(KINDS.cell, cell);
      }
    }
  }

  function waiting() {
    return Object.keys(KINDS).some((kind) => all[kind] && [...all[kind].values()].some((cell) => cell.state === "asked"));
  }

  sewermap.cell = (x, y, packed) => sewermap.city.ready(() => arrived(KINDS.cell, x, y, packed, lines));
  sewermap.groundCell = (x, y, packed) => arrived(KINDS.ground, x, y, packed, ground);
  sewermap.cityCells = { wanted, holding, waiting, meets, KINDS, onArrival: (listener) => listeners.push(listener) };
})();
