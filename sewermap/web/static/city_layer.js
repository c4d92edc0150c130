// Laterals and issues of the whole city on canvas: short strokes from city.js while one looks from far, lines of the cells from near.
"use strict";
(() => {
  const LINES_FROM = 16, SIGNS_FROM = 16, DOTS_FROM = 14, BANDS_FROM = 18, STROKES_FROM = 14;
  const SIGMAS = 1.959964; // 95 % of a normal deviate
  const MARGIN = 24; // pixels: a sign may reach into the next tile
  const BAND = "rgba(53, 16, 94, 0.22)", PROPERTY_LINE = "#1d2227", PAPER = "#ffffff";
  const DOT_CLASSES = 8;
  const sprites = new Map();

  function grown(box, by) {
    return [box[0] - by, box[1] - by, box[2] + by, box[3] + by];
  }

  function widthAt(zoom) {
    return zoom >= 19 ? 1.5 : zoom >= 17 ? 1.1 : zoom >= 15 ? 0.8 : 0.6;
  }

  /** Draw classes one after another, the gravest last: each is a path that trace(context, class) fills in. */
  function strokeClasses(context, mode, zoom, trace) {
    mode.forEach((kind, index) => {
      context.beginPath();
      if (!trace(index)) return;
      context.setLineDash(zoom >= LINES_FROM ? kind.dash : []);
      context.lineWidth = kind.width * widthAt(zoom);
      context.strokeStyle = kind.colour;
      context.lineCap = context.lineJoin = "round";
      context.stroke();
    });
    context.setLineDash([]);
  }

  /** Laterals of a window whose lines are not here (yet), as strokes through their middle. */
  function strokes(context, frame, look, classOf, skip) {
    const { laterals, stroke } = sewermap.city, { world, left, top } = frame, mode = sewermap.colours.MODES[look.colour];
    if (frame.zoom < STROKES_FROM) return worstDots(context, frame, laterals, look.laterals, classOf, mode);
    const rows = mode.map(() => []);
    sewermap.city.lateralIndex.within(grown(frame.box, stroke + 4 / world), (row) => {
      if (look.laterals[row] && !skip(row)) rows[classOf(row)].push(row);
    });
    return strokeClasses(context, mode, frame.zoom, (index) => {
      for (const row of rows[index]) {
        const x = laterals.worldX[row] * world - left, y = laterals.worldY[row] * world - top;
        const dx = laterals.halfX[row] * world, dy = laterals.halfY[row] * world;
        context.moveTo(x - dx, y - dy);
        context.lineTo(x + dx, y + dy);
      }
      return rows[index].length;
    });
  }

  /** Shown laterals from far, as small squares: of many on one spot the gravest. All are looked at, which is quick enough. */
  function worstDots(context, frame, laterals, shown, classOf, mode) {
    const { world, left, top, edge } = frame, { worldX, worldY, count } = laterals, across = Math.ceil(edge / 2) + 1;
    const worst = new Uint8Array(across * across), at = new Uint32Array(across * across);
    for (let row = 0; row < count; row += 1) {
      const x = worldX[row] * world - left, y = worldY[row] * world - top;
      if (!(x >= 0 && y >= 0 && x <= edge && y <= edge) || !shown[row]) continue; // what has no place is nowhere
      const spot = (y >> 1) * across + (x >> 1), index = classOf(row) + 1;
      if (index <= worst[spot]) continue;
      worst[spot] = index;
      at[spot] = row;
    }
    const spots = mode.map(() => []);
    for (let spot = 0; spot < worst.length; spot += 1) if (worst[spot]) spots[worst[spot] - 1].push(spot);
    mode.forEach((kind, index) => {
      const size = index ? 2 : 1.4;
      context.fillStyle = kind.colour;
      for (const spot of spots[index]) {
        const row = at[spot];
        context.fillRect(worldX[row] * world - left - size / 2, worldY[row] * world - top - size / 2, size, size);
      }
    });
  }

  /** Points as small squares; of many on one spot one is drawn. */
  function dots(context, frame, of, rows, colour, size) {
    const { world, left, top, edge } = frame, across = Math.ceil(edge / 2) + 1, taken = new Uint8Array(across * across);
    context.fillStyle = colour;
    for (const row of rows) {
      const x = of.worldX[row] * world - left, y = of.worldY[row] * world - top;
      const spot = Math.floor(y / 2) * across + Math.floor(x / 2);
      if (x < 0 || y < 0 || x > edge || y > edge || taken[spot]) continue;
      taken[spot] = 1;
      context.fillRect(x - size / 2, y - size / 2, size, size);
    }
  }

  function lines(context, frame, look, classOf, cells) {
    const mode = sewermap.colours.MODES[look.colour], rows = mode.map(() => []);
    for (const cell of cells) {
      for (let row = 0; row < cell.lateral.length; row += 1) {
        const lateral = cell.lateral[row];
        if (look.laterals[lateral] && sewermap.shapes.touches(cell.boxes, row, frame, 6)) rows[classOf(lateral)].push([cell, row]);
      }
    }
    strokeClasses(context, mode, frame.zoom, (index) => {
      for (const [cell, row] of rows[index]) sewermap.shapes.tracePart(context, cell, row, frame);
      return rows[index].length;
    });
  }

  function tracePoints(context, points, frame) {
    points.forEach(([x, y], i) => context[i ? "lineTo" : "moveTo"](x * frame.world - frame.left, y * frame.world - frame.top));
  }

  /** The stretch of a line that holds an issue with 95 %, and the whole of one that runs along the line. */
  function stretch(cell, row, k, far, perMetre) {
    const total = far[far.length - 1], half = total > 0 ? (SIGMAS * cell.sigma_m[k] * perMetre) / total : 0;
    const end = Number.isNaN(cell.toShare[k]) ? cell.share[k] : cell.toShare[k];
    return sewermap.shapes.piece(cell, row, Math.min(cell.share[k], end) - half, Math.max(cell.share[k], end) + half, far);
  }

  /** For each line of the cells in the window: bands of its shown issues, and the mark of its property line. */
  function bandsAndMarks(context, frame, look, cells) {
    const perMetre = sewermap.projection.perMetre(sewermap.projection.latLng(frame.box[0], frame.box[1]).lat).east;
    for (const cell of cells) {
      for (let row = 0; row < cell.lateral.length; row += 1) {
        if (!look.laterals[cell.lateral[row]] || !sewermap.shapes.touches(cell.boxes, row, frame, 30)) continue;
        const far = sewermap.shapes.lengths(cell, row);
        for (let k = cell.firstIssue[row]; k < cell.firstIssue[row + 1]; k += 1) {
          if (Number.isNaN(cell.share[k]) || !look.issues[cell.issue[k]]) continue;
          const isMarked = look.marked && look.marked.issue === cell.issue[k];
          context.beginPath();
          tracePoints(context, stretch(cell, row, k, far, perMetre), frame);
          context.lineCap = "butt";
          context.lineWidth = frame.zoom >= 20 ? 14 : 10;
          context.strokeStyle = isMarked ? "rgba(53, 16, 94, 0.5)" : BAND;
          context.stroke();
        }
        if (!Number.isNaN(cell.propertyLine[row])) propertyLine(context, frame, cell, row, far);
      }
    }
  }

  /** A short stroke across the lateral where the property line crosses it: towards the building it is private. */
  function propertyLine(context, frame, cell, row, far) {
    const share = cell.propertyLine[row], [[x, y]] = sewermap.shapes.piece(cell, row, share, share, far);
    const near = sewermap.shapes.piece(cell, row, share - 0.02, share + 0.02, far), [ax, ay] = near[0], [bx, by] = near[near.length - 1];
    const length = Math.hypot(bx - ax, by - ay) || 1, reach = frame.zoom >= 20 ? 9 : 6;
    const nx = (-(by - ay) / length) * reach, ny = ((bx - ax) / length) * reach;
    const px = x * frame.world - frame.left, py = y * frame.world - frame.top;
    for (const [colour, width] of [[PAPER, 4], [PROPERTY_LINE, 1.8]]) {
      context.beginPath();
      context.moveTo(px - nx, py - ny);
      context.lineTo(px + nx, py + ny);
      context.lineCap = "butt";
      context.lineWidth = width;
      context.strokeStyle = colour;
      context.stroke();
    }
  }

  /** A sign as a small picture, made once for each class and size: drawing paths ten thousand times would be slow. */
  function sprite(index, size, crossBore) {
    const scale = Math.max(1, window.devicePixelRatio || 1), key = `${index} ${size} ${crossBore} ${scale}`;
    if (!sprites.has(key)) {
      const canvas = document.createElement("canvas"), half = Math.ceil(3 * size + 6);
      canvas.width = canvas.height = 2 * half * scale;
      const context = canvas.getContext("2d");
      context.scale(scale, scale);
      sewermap.symbols.draw(context, index, half, half, size, crossBore);
      sprites.set(key, { canvas, half });
    }
    return sprites.get(key);
  }

  function signSize(zoom) {
    return [[20, 9], [19, 8], [18, 6.4], [17, 4.8]].find(([least]) => zoom >= least)?.[1] ?? 3.4;
  }

  /** Shown issues of a window, by class of sign: the worst come last. */
  function issues(context, frame, look) {
    const { issues: all, issueIndex, moved, CROSS_BORE } = sewermap.city, { world, left, top } = frame, grade = look.grade || all.grade;
    const rows = Array.from({ length: DOT_CLASSES }, () => []);
    issueIndex.within(grown(frame.box, MARGIN / world + moved), (row) => {
      if (look.issues[row]) rows[sewermap.symbols.classOf("defect", grade[row] || null)].push(row);
    });
    rows.forEach((of, index) => {
      const { colour } = sewermap.colours.MODES.grade[Math.max(0, index - 2)];
      if (frame.zoom < SIGNS_FROM) return dots(context, frame, all, of, colour, frame.zoom >= 15 ? 4 : 3);
      for (const row of of) {
        const { canvas, half } = sprite(index, signSize(frame.zoom), (all.flags[row] & CROSS_BORE) > 0);
        // On whole pixels: between them a picture would be blurred, and slow.
        const x = Math.round(all.worldX[row] * world - left) - half, y = Math.round(all.worldY[row] * world - top) - half;
        context.drawImage(canvas, x, y, 2 * half, 2 * half);
      }
      return undefined;
    });
  }

  /** The chosen lateral with a light edge, the chosen issue larger than all others. */
  function marked(context, frame, look, cells) {
    const { lateral = -1, issue = -1 } = look.marked || {};
    for (const cell of lateral >= 0 ? cells : []) {
      const row = cell.lateral.indexOf(lateral);
      if (row < 0) continue;
      context.beginPath();
      sewermap.shapes.tracePart(context, cell, row, frame);
      context.lineCap = context.lineJoin = "round";
      context.lineWidth = 11;
      context.strokeStyle = "rgba(53, 16, 94, 0.35)";
      context.stroke();
    }
    if (issue < 0) return;
    const { worldX, worldY, grade, flags } = sewermap.city.issues;
    if (Number.isNaN(worldX[issue])) return;
    const index = sewermap.symbols.classOf("defect", (look.grade || grade)[issue] || null);
    const x = worldX[issue] * frame.world - frame.left, y = worldY[issue] * frame.world - frame.top, size = 1.4 * Math.max(7, signSize(frame.zoom));
    sewermap.symbols.draw(context, index, x, y, size, (flags[issue] & sewermap.city.CROSS_BORE) > 0);
    context.beginPath();
    context.arc(x, y, 2.2 * size, 0, 2 * Math.PI);
    context.lineWidth = 2.5;
    context.strokeStyle = sewermap.symbols.INK;
    context.stroke();
  }

  function paint(context, frame, look) {
    const classOf = sewermap.colours.classOf(look), near = frame.zoom >= LINES_FROM;
    const cells = near ? sewermap.cityCells.wanted(sewermap.cityCells.KINDS.cell, grown(frame.box, MARGIN / frame.world)) : [];
    const here = new Set();
    for (const cell of cells) for (const lateral of cell.lateral) here.add(lateral);
    strokes(context, frame, look, classOf, (row) => here.has(row));
    lines(context, frame, look, classOf, cells);
    if (frame.zoom >= BANDS_FROM) bandsAndMarks(context, frame, look, cells);
    if (frame.zoom >= DOTS_FROM) issues(context, frame, look);
    marked(context, frame, look, cells);
  }

  /**
   * The layer of laterals and issues. look, which may change before redraw(): issues and laterals (flags by row, 1 is shown), colour
   * ("grade", "scoped", "due", "repeat"), marked ({issue, lateral}, -1 or null for none), and what is in force where it is not
   * today's: grade (by issue), lateralGrade and scoped (by lateral), day.
   */
  sewermap.city.layer = (look, options) => {
    const inPane = { pane: "overlayPane", margin: MARGIN, ...options };
    const layer = new sewermap.tiles.Tiles((context, frame) => paint(context, frame, look), inPane);
    sewermap.cityCells.onArrival((kind, box) => {
      if (kind === sewermap.cityCells.KINDS.cell) layer.repaint(box);
    });
    return layer;
  };
  sewermap.city.zooms = { LINES_FROM, SIGNS_FROM, DOTS_FROM, BANDS_FROM, STROKES_FROM };
})();
