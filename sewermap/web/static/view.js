// Brings map, filters, list and popups together.
"use strict";
(() => {
  const CLOSE_ZOOM = 21; // a house and its lateral: circles of a step or two can be seen
  const ROLES = new Set(["defect", "feature", "look"]);

  /** Observations as functions and arrays by row, with their places in world units. */
  function observations(town) {
    const packed = town.observations, seen = {};
    for (const [name, column] of Object.entries(packed)) seen[name] = column.codes ? sewermap.columns.text(column) : column;
    const lon = sewermap.columns.degrees(packed.lon), lat = sewermap.columns.degrees(packed.lat), role = seen.role;
    seen.count = lon.length;
    // A kind without a known role is shown among the defects: rather too much than hidden.
    seen.role = (row) => (ROLES.has(role(row)) ? role(row) : "defect");
    seen.lon = lon;
    seen.lat = lat;
    seen.x = lon.map(sewermap.projection.x);
    seen.y = lat.map(sewermap.projection.y);
    const scales = Array.from(lat, sewermap.projection.perMetre);
    seen.east = Float64Array.from(scales, (scale) => scale.east);
    seen.north = Float64Array.from(scales, (scale) => scale.north);
    const rows = Array.from({ length: seen.count }, (_, row) => row);
    seen.sign = Uint8Array.from(rows, (row) => sewermap.symbols.classOf(seen.role(row), seen.grade[row]));
    seen.placed = rows.filter((row) => !Number.isNaN(lon[row]));
    seen.unplaced = rows.filter((row) => Number.isNaN(lon[row]));
    return seen;
  }

  function lateralsOf(town) {
    const laterals = {};
    for (const [name, column] of Object.entries(town.laterals)) laterals[name] = column.codes ? sewermap.columns.text(column) : column;
    laterals.line = sewermap.columns.shapes(town.laterals.line);
    laterals.byName = new Map(laterals.line.owner.map((row, part) => [laterals.lateral(row), { row, part }]));
    return laterals;
  }

  function panes(map) {
    for (const [name, zIndex] of [["labels", 350], ["signs", 380]]) {
      map.createPane(name).style.zIndex = zIndex;
      map.getPane(name).style.pointerEvents = "none";
    }
  }

  function tellCount(seen, state) {
    const placed = seen.placed.length.toLocaleString("en"), shown = state.shownCount.toLocaleString("en");
    document.getElementById("count").textContent = `Shown ${shown} of ${placed} observations on the map.`;
    const rest = document.getElementById("rest");
    rest.textContent = `${sewermap.words.counted(seen.unplaced.length, "more", "more")} could not be placed`;
    rest.hidden = !seen.unplaced.length;
  }

  /** One popup for the map; closing it gives the focus back to where it came from. */
  function popups(map, closed) {
    let back = null;
    const popup = () => {
      const size = map.getSize();
      return L.popup({ maxWidth: Math.min(330, size.x - 50), minWidth: Math.min(250, size.x - 70), maxHeight: Math.max(150, size.y - 150), offset: [0, -6], autoPanPadding: [8, 8] });
    };
    map.on("popupclose", () => {
      closed();
      const inside = document.activeElement === document.body || map.getContainer().contains(document.activeElement);
      if (back && back.isConnected && inside) back.focus();
      back = null;
    });
    /** Open at a place; from: the element that asked (the popup then takes the focus). */
    return (place, content, from) => {
      back = null; // one popup after another: the focus does not go back in between, nor does a phone's page scroll
      map.closePopup();
      popup().setLatLng(place).setContent(content).openOn(map);
      back = from;
      content.addEventListener("keydown", (event) => {
        if (event.key === "Escape") map.closePopup();
      });
      if (from) content.focus({ preventScroll: true });
    };
  }

  function foldOnPhones() {
    if (window.matchMedia("(max-width: 62rem)").matches) {
      for (const id of ["kinds-fold", "legend-fold"]) document.getElementById(id).open = false;
    }
  }

  function accessible(map) {
    const container = map.getContainer();
    container.setAttribute("role", "application");
    container.setAttribute("aria-label", "Map. Arrow keys move it, plus and minus zoom; every sign is also in the list.");
  }

  function wire(map, seen, laterals, panel, open, marking) {
    const { state } = panel, counts = new Map();
    for (let row = 0; row < seen.count; row += 1) counts.set(seen.lateral(row), (counts.get(seen.lateral(row)) || 0) + 1);
    const showObservation = (row, here, from) => {
      const go = (next) => showObservation(next, here, from || map.getContainer());
      open([seen.lat[row], seen.lon[row]], sewermap.popup.observation(seen, row, here, go), from);
      marking(row);
      list.mark(row);
    };
    const list = sewermap.list.keep(seen, (row) => {
      map.getContainer().scrollIntoView({ block: "nearest" });
      map.setView([seen.lat[row], seen.lon[row]], Math.max(map.getZoom(), CLOSE_ZOOM), { animate: false });
      showObservation(row, sewermap.picking.samePlace(map, seen, state, row), list.button(row));
    });
    const showLateral = (row, place, from) => open(place, sewermap.popup.lateral(laterals, row, counts.get(laterals.lateral(row)) || 0), from);
    sewermap.unplaced.fill(seen, (row) => laterals.byName.has(seen.lateral(row)), (row) => {
      const { row: lateral, part } = laterals.byName.get(seen.lateral(row));
      const place = middleOf(laterals.line, part), from = document.activeElement;
      map.getContainer().scrollIntoView({ block: "nearest" });
      map.setView(place, CLOSE_ZOOM - 1, { animate: false });
      showLateral(lateral, place, from);
    });
    map.on("click", (event) => {
      const rows = sewermap.picking.near(map, seen, state, event.containerPoint, sewermap.picking.reach());
      if (rows.length) return showObservation(rows[0], sewermap.picking.samePlace(map, seen, state, rows[0]), null);
      const lateral = sewermap.picking.lateralAt(map, laterals, event.containerPoint);
      if (lateral !== null) showLateral(lateral, event.latlng, null);
      return undefined;
    });
    map.on("mousemove", (event) => {
      const over = sewermap.picking.near(map, seen, state, event.containerPoint, sewermap.picking.reach()).length > 0;
      map.getContainer().style.cursor = over ? "pointer" : "";
    });
    return list;
  }

  /** Take the map to what is shown. */
  function fit(map, seen, state) {
    const rows = seen.placed.filter((row) => state.shown[row]);
    const bounds = L.latLngBounds(rows.map((row) => [seen.lat[row], seen.lon[row]]));
    if (bounds.isValid()) map.fitBounds(bounds, { maxZoom: CLOSE_ZOOM - 1, padding: [40, 40], animate: false });
  }

  /** A vertex in the middle of a line, as latitude and longitude. */
  function middleOf(line, part) {
    const i = Math.floor((line.starts[part] + line.starts[part + 1] - 1) / 2), j = i + 1 < line.starts[part + 1] ? i + 1 : i;
    const world = sewermap.projection.worldPixels(0);
    return L.CRS.EPSG3857.pointToLatLng(L.point(((line.x[i] + line.x[j]) / 2) * world, ((line.y[i] + line.y[j]) / 2) * world), 0);
  }

  /** Fill the page: folium's map and the town that data.js brought. */
  sewermap.view = (map, town) => {
    panes(map);
    accessible(map);
    foldOnPhones();
    const seen = observations(town), laterals = lateralsOf(town);
    const middle = sewermap.projection.perMetre(map.getCenter().lat);
    sewermap.ground.layer(town, middle.east).addTo(map);
    let dots = null, list = null;
    const panel = sewermap.filters.panel(seen, (state) => {
      map.closePopup();
      tellCount(seen, state);
      dots.redraw();
      list.show(state);
    }, () => fit(map, seen, panel.state));
    dots = sewermap.dots.layer(laterals, seen, panel.state).addTo(map);
    const marking = (row) => {
      panel.state.marked = row;
      dots.redraw();
    };
    list = wire(map, seen, laterals, panel, popups(map, () => marking(null)), marking);
    sewermap.labels.keep(map, town, laterals);
    sewermap.legend.fill(seen);
    panel.apply();
  };
})();
