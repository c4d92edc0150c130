// Street names along their streets, and house addresses at the laterals' building ends when there is room.
"use strict";
(() => {
  const NAMES_FROM_ZOOM = 15, ADDRESSES_FROM_ZOOM = 19;
  const LETTER = 7.2, LINE = 16; // pixels, generous: no text is measured
  const MOST_ADDRESSES = 200;

  /** The pieces of a street inside the view, in container pixels: runs of points that hang together. */
  function visiblePieces(shapes, part, toPoint, box) {
    const pieces = [];
    for (let i = shapes.starts[part]; i < shapes.starts[part + 1] - 1; i += 1) {
      const clipped = L.LineUtil.clipSegment(toPoint(shapes.x[i], shapes.y[i]), toPoint(shapes.x[i + 1], shapes.y[i + 1]), box, false, false);
      if (!clipped) continue;
      const last = pieces[pieces.length - 1];
      if (last && last[last.length - 1].distanceTo(clipped[0]) < 0.5) last.push(clipped[1]);
      else pieces.push([clipped[0], clipped[1]]);
    }
    return pieces;
  }

  function pieceLength(piece) {
    return piece.slice(1).reduce((sum, point, i) => sum + point.distanceTo(piece[i]), 0);
  }

  /** The point a distance along a piece. */
  function along(piece, distance) {
    let left = distance;
    for (let i = 0; i < piece.length - 1; i += 1) {
      const step = piece[i].distanceTo(piece[i + 1]);
      if (left <= step && step > 0) return piece[i].add(piece[i + 1].subtract(piece[i]).multiplyBy(left / step));
      left -= step;
    }
    return piece[piece.length - 1];
  }

  /** Middle, angle (upright reading) and box of a name on a piece; null where it does not fit. */
  function nameOn(piece, text) {
    const width = text.length * LETTER + 12, length = pieceLength(piece);
    if (length < width) return null;
    const from = along(piece, (length - width) / 2), to = along(piece, (length + width) / 2);
    let angle = Math.atan2(to.y - from.y, to.x - from.x);
    if (Math.abs(angle) > Math.PI / 2) angle += Math.PI;
    const middle = along(piece, length / 2);
    const half = L.point(Math.abs(Math.cos(angle)) * width + LINE, Math.abs(Math.sin(angle)) * width + LINE).divideBy(2);
    return { text, middle, angle, box: L.bounds(middle.subtract(half), middle.add(half)), kind: "street-name" };
  }

  function streetNames(toPoint, box, worldBox) {
    const streets = sewermap.city.streets, longest = new Map();
    for (let part = 0; part < streets.starts.length - 1; part += 1) {
      const text = sewermap.town.streets[streets.owner[part]];
      if (!text || !sewermap.cityCells.meets(streets.boxes.subarray(4 * part, 4 * part + 4), worldBox)) continue;
      for (const piece of visiblePieces(streets, part, toPoint, box)) {
        if (pieceLength(piece) > pieceLength(longest.get(text) || [])) longest.set(text, piece);
      }
    }
    return [...longest].map(([text, piece]) => nameOn(piece, text)).filter(Boolean);
  }

  /** An address without its street, whose name stands on the street itself. */
  function houseNumber(names, lateral) {
    const address = names.address(lateral), street = sewermap.town.streets[sewermap.city.laterals.street[lateral]];
    return street && address.includes(street) ? address.replace(street, "").trim() : address;
  }

  /** Addresses stand beside the end of the lateral at the building. */
  function addresses(names, toPoint, box, worldBox) {
    const labels = [];
    for (const cell of sewermap.cityCells.wanted(sewermap.cityCells.KINDS.cell, worldBox)) {
      for (let row = 0; row < cell.lateral.length && labels.length < MOST_ADDRESSES; row += 1) {
        const last = cell.starts[row + 1] - 1, end = toPoint(cell.x[last], cell.y[last]);
        const text = box.contains(end) ? houseNumber(names, cell.lateral[row]) : "";
        if (!text) continue;
        const middle = end.subtract(L.point(0, 14)), half = L.point(text.length * LETTER, LINE).divideBy(2);
        labels.push({ text, middle, angle: 0, box: L.bounds(middle.subtract(half), middle.add(half)), kind: "address" });
      }
    }
    return labels;
  }

  function element(label, offset) {
    const span = document.createElement("span"), place = label.middle.add(offset);
    span.className = `map-label ${label.kind}`;
    span.textContent = label.text;
    span.style.transform = `translate(${place.x}px, ${place.y}px) translate(-50%, -50%) rotate(${label.angle}rad)`;
    return span;
  }

  /** Those that lie on none of the earlier ones. */
  function apart(wanted) {
    const kept = [];
    for (const label of wanted) if (!kept.some((earlier) => earlier.box.intersects(label.box))) kept.push(label);
    return kept;
  }

  /** Keep the labels of a map, in a pane of it, up to date with its view. */
  sewermap.city.labels = (map, pane) => {
    pane.setAttribute("aria-hidden", "true");
    const renew = () => {
      const zoom = map.getZoom(), world = sewermap.projection.worldPixels(zoom), size = map.getSize(), corner = map.getPixelBounds().min;
      const box = L.bounds([0, 0], size), toPoint = (x, y) => L.point(x * world - corner.x, y * world - corner.y);
      const worldBox = [corner.x / world, corner.y / world, (corner.x + size.x) / world, (corner.y + size.y) / world];
      const draw = (labels) => pane.replaceChildren(...apart(labels).map((label) => element(label, map.containerPointToLayerPoint([0, 0]))));
      const streets = zoom >= NAMES_FROM_ZOOM ? streetNames(toPoint, box, worldBox) : [];
      draw(streets);
      if (zoom < ADDRESSES_FROM_ZOOM || sewermap.town.public) return;
      const seen = map.getPixelBounds().min;
      sewermap.city.names((names) => {
        if (map.getZoom() === zoom && map.getPixelBounds().min.equals(seen)) draw([...streets, ...addresses(names, toPoint, box, worldBox)]);
      });
    };
    map.on("zoomstart", () => pane.replaceChildren());
    map.on("moveend zoomend resize", renew);
    sewermap.cityCells.onArrival(renew);
    renew();
  };
})();
