// What lies under a click, where a line runs, and what is in view: asked of the arrays, not of the picture.
"use strict";
(() => {
  const FINGER = 20, MOUSE = 11, LINE = 7; // pixels

  /** Pixels that a click may miss a sign by. */
  function reach() {
    return window.matchMedia("(pointer: coarse)").matches ? FINGER : MOUSE;
  }

  function nearestIssue(point, world, look) {
    const { issues, issueIndex, moved } = sewermap.city, radius = reach() / world, margin = radius + moved, grade = look.grade || issues.grade;
    let best = -1, least = radius;
    issueIndex.within([point.x - margin, point.y - margin, point.x + margin, point.y + margin], (row) => {
      if (!look.issues[row]) return;
      const distance = Math.hypot(issues.worldX[row] - point.x, issues.worldY[row] - point.y);
      // Of two on one spot the worse lies on top.
      if (distance < least || (distance === least && best >= 0 && grade[row] > grade[best])) [best, least] = [row, distance];
    });
    return best;
  }

  function toSegment(px, py, ax, ay, bx, by) {
    const dx = bx - ax, dy = by - ay, square = dx * dx + dy * dy;
    const share = square > 0 ? Math.max(0, Math.min(1, ((px - ax) * dx + (py - ay) * dy) / square)) : 0;
    return Math.hypot(px - ax - share * dx, py - ay - share * dy);
  }

  function nearestLateral(point, world, zoom, look) {
    const radius = LINE / world, box = [point.x - radius, point.y - radius, point.x + radius, point.y + radius], here = new Set();
    let best = -1, least = radius;
    const take = (row, distance) => {
      if (distance < least) [best, least] = [row, distance];
    };
    for (const cell of zoom >= sewermap.city.zooms.LINES_FROM ? sewermap.cityCells.wanted(sewermap.cityCells.KINDS.cell, box) : []) {
      for (let row = 0; row < cell.lateral.length; row += 1) {
        const lateral = cell.lateral[row];
        here.add(lateral);
        if (!look.laterals[lateral] || !sewermap.cityCells.meets(cell.boxes.subarray(4 * row, 4 * row + 4), box)) continue;
        for (let i = cell.starts[row]; i < cell.starts[row + 1] - 1; i += 1) {
          take(lateral, toSegment(point.x, point.y, cell.x[i], cell.y[i], cell.x[i + 1], cell.y[i + 1]));
        }
      }
    }
    const { laterals, lateralIndex, stroke } = sewermap.city, wide = radius + stroke;
    lateralIndex.within([point.x - wide, point.y - wide, point.x + wide, point.y + wide], (row) => {
      if (!look.laterals[row] || here.has(row)) return;
      const x = laterals.worldX[row], y = laterals.worldY[row], dx = laterals.halfX[row], dy = laterals.halfY[row];
      take(row, toSegment(point.x, point.y, x - dx, y - dy, x + dx, y + dy));
    });
    return best;
  }

  /** The shown issue or, where there is none, the shown lateral near a point of the map's container: {issue, lateral}, -1 for none. */
  sewermap.city.pick = (map, containerPoint, look) => {
    const zoom = map.getZoom(), world = sewermap.projection.worldPixels(zoom);
    const point = map.getPixelBounds().min.add(L.point(containerPoint)).divideBy(world);
    const issue = nearestIssue(point, world, look);
    return { issue, lateral: issue >= 0 ? sewermap.city.issues.lateral[issue] : nearestLateral(point, world, zoom, look) };
  };

  /** The line of a lateral: then([latitude and longitude, ...]) from the tie-in on, when its cell is here. */
  sewermap.city.line = (lateral, then) => sewermap.cityCells.holding(lateral, (cell, row) => {
    const points = [];
    for (let i = cell.starts[row]; i < cell.starts[row + 1]; i += 1) points.push(sewermap.projection.latLng(cell.x[i], cell.y[i]));
    then(points);
  });

  /** Rows of shown issues whose place is within Leaflet's bounds, in order. */
  sewermap.city.inBounds = (bounds, look) => {
    const { issues, extent, moved, UNPLACED } = sewermap.city, { x, y } = sewermap.projection, { count } = issues;
    const west = x(bounds.getWest()), north = y(bounds.getNorth()), east = x(bounds.getEast()), south = y(bounds.getSouth());
    const rows = new Uint32Array(count);
    let found = 0;
    // All rows are looked at: that is quicker than an index where much of the city is in view, and quick enough elsewhere.
    if (west <= extent[0] - moved && north <= extent[1] - moved && east >= extent[2] + moved && south >= extent[3] + moved) {
      const { flags } = issues; // all that have a place are in view
      for (let row = 0; row < count; row += 1) if (look.issues[row] && !(flags[row] & UNPLACED)) rows[found++] = row;
    } else {
      const { worldX, worldY } = issues;
      for (let row = 0; row < count; row += 1) {
        if (look.issues[row] && worldX[row] >= west && worldX[row] <= east && worldY[row] >= north && worldY[row] <= south) rows[found++] = row;
      }
    }
    return rows.slice(0, found);
  };
})();
