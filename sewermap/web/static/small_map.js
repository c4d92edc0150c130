// The map of one lateral or one street: the town's ground and layers, turned to what the page is about.
//
// sewermap.showOnMap({laterals: [row, …], marked, told})   laterals of the city by row; the first cell of each is waited for
"use strict";
(() => {
  const CLOSEST = 20, LEAST = 0.00006; // degrees: about six metres around a very short line
  let map = null, layer = null, look = null, wanted = null;

  function accessible() {
    const container = map.getContainer(), { t } = sewermap;
    container.setAttribute("role", "application");
    container.setAttribute("aria-label", t("property.map_name"));
    for (const [name, key] of [["in", "town.zoom_in"], ["out", "town.zoom_out"]]) {
      const button = container.querySelector(`.leaflet-control-zoom-${name}`);
      button.title = t(key);
      button.setAttribute("aria-label", t(key));
    }
  }

  function pane(name, height) {
    const made = map.createPane(name);
    made.style.zIndex = height;
    made.style.pointerEvents = "none";
    return made;
  }

  sewermap.smallMap = (made) => {
    map = made;
    map.scrollWheelZoom.disable(); // the wheel moves the page
    accessible();
    pane("ground", 200);
    const labels = pane("labels", 450);
    sewermap.city.ready((city) => {
      look = { issues: new Uint8Array(city.issues.count), laterals: new Uint8Array(city.laterals.count), colour: "grade", marked: null };
      city.ground({ pane: "ground" }).addTo(map);
      layer = city.layer(look).addTo(map);
      city.labels(map, labels);
      if (wanted) show(wanted);
    });
    const fit = () => wanted && wanted.bounds && map.invalidateSize({ animate: false, pan: false }).fitBounds(wanted.bounds, { animate: false, maxZoom: CLOSEST });
    const box = map.getContainer().closest(".map-box");
    // Drawn in the size that it has on paper before it goes there.
    const print = (printing) => { box.classList.toggle("printing", printing); fit(); if (printing) sewermap.tiles.flush(); };
    window.addEventListener("beforeprint", () => print(true));
    window.addEventListener("afterprint", () => print(false));
    window.matchMedia("print").addEventListener("change", (media) => print(media.matches));
    new ResizeObserver(() => fit()).observe(map.getContainer());
  };

  function show(asked) {
    const { city } = sewermap, mended = sewermap.town.states.indexOf("mended"), bounds = L.latLngBounds([]);
    look.laterals.fill(0);
    look.issues.fill(0);
    look.marked = asked.marked === undefined ? null : { lateral: asked.marked, issue: -1 };
    let left = 0;
    const fit = () => {
      if (asked !== wanted || left || !bounds.isValid()) return;
      const south = bounds.getSouth() - LEAST, west = bounds.getWest() - LEAST;
      asked.bounds = L.latLngBounds([[south, west], [bounds.getNorth() + LEAST, bounds.getEast() + LEAST]]);
      map.invalidateSize({ animate: false, pan: false });
      map.fitBounds(asked.bounds, { animate: false, maxZoom: CLOSEST });
    };
    for (const row of asked.laterals) {
      look.laterals[row] = 1;
      for (let issue = city.laterals.first_issue[row]; issue < city.laterals.first_issue[row + 1]; issue += 1) {
        if (city.issues.state[issue] !== mended) look.issues[issue] = 1;
      }
      const place = city.place(row);
      if (!place) continue;
      bounds.extend(place);
      if (asked.laterals.length > 1) continue;
      left += 1;
      sewermap.cityCells.holding(row, (cell, at) => {
        const [west, north, east, south] = cell.boxes.subarray(4 * at, 4 * at + 4), { latLng } = sewermap.projection;
        bounds.extend(latLng(west, north)).extend(latLng(east, south));
        left -= 1;
        fit();
      });
    }
    layer.redraw();
    fit();
    asked.told(bounds.isValid());
  }

  sewermap.showOnMap = (asked) => {
    wanted = asked;
    if (map && layer) show(asked);
  };
})();
