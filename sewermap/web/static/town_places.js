// Rows of the city by name, and where the map must go to see them.
"use strict";
(() => {
  const CLOSE = 19, MOST = 20;
  const rows = { lateral: null, issue: null };

  /** The row of a lateral or issue by its name, −1 where there is none. */
  function rowOf(kind, name, names) {
    if (!rows[kind]) {
      const { count } = sewermap.city[`${kind}s`];
      rows[kind] = new Map();
      for (let row = 0; row < count; row += 1) rows[kind].set(names[kind](row), row);
    }
    return rows[kind].get(name) ?? -1;
  }

  /** The box around a street's lines and laterals. */
  function streetBounds(street) {
    const { streets, laterals } = sewermap.city, { latLng } = sewermap.projection, bounds = L.latLngBounds([]);
    for (let part = 0; part < streets.starts.length - 1; part += 1) {
      const [west, north, east, south] = streets.boxes.subarray(4 * part, 4 * part + 4);
      if (streets.owner[part] === street) bounds.extend(latLng(west, north)).extend(latLng(east, south));
    }
    for (let row = 0; row < laterals.count; row += 1) {
      if (laterals.street[row] === street && !Number.isNaN(laterals.worldX[row])) bounds.extend(latLng(laterals.worldX[row], laterals.worldY[row]));
    }
    return bounds;
  }

  function toStreet(map, street) {
    const bounds = streetBounds(street);
    if (bounds.isValid()) map.fitBounds(bounds, { padding: [30, 30], maxZoom: CLOSE, animate: false });
  }

  /** Go so near that signs can be told apart; a place that is in view already stays where it is. */
  function toPlace(map, place) {
    const inner = map.getBounds().pad(-0.1);
    if (map.getZoom() >= CLOSE - 1 && inner.contains(place)) return;
    map.setView(place, Math.min(MOST, Math.max(map.getZoom(), CLOSE)), { animate: false });
  }

  sewermap.townPlaces = { rowOf, toStreet, toPlace };
})();
