// The town map: folium's map, the city on it, and the panels around it. The address bar is the one place that knows what is wanted.
"use strict";
(() => {
  const PRINTING = "printing", DIGITS = 6;
  const { t, url } = sewermap;

  function accessible(map) {
    const container = map.getContainer();
    container.setAttribute("role", "application");
    container.setAttribute("aria-label", t("town.map_name"));
    for (const [name, key] of [["in", "town.zoom_in"], ["out", "town.zoom_out"]]) {
      const button = container.querySelector(`.leaflet-control-zoom-${name}`);
      button.title = t(key);
      button.setAttribute("aria-label", t(key));
    }
  }

  function pane(map, name, height) {
    const made = map.createPane(name);
    made.style.zIndex = height;
    made.style.pointerEvents = "none";
    return made;
  }

  /** Move the map at once, so that all of a card is in it: what glides has no place yet that a link could tell. */
  function comeIntoView(map, card) {
    const edge = 10, box = card.getBoundingClientRect(), room = map.getContainer().getBoundingClientRect();
    const over = (low, high, least, most) => (low < least + edge ? low - least - edge : high > most - edge ? high - most + edge : 0);
    const by = [over(box.left, box.right, room.left, room.right), over(box.top, box.bottom, room.top, room.bottom)];
    if (by[0] || by[1]) map.panBy(by, { animate: false });
  }

  /** The popup that stays open until somebody closes it; closed(): somebody did. Returns {open, close}. */
  function cards(map, closed) {
    let popup = null, back = null;
    const close = () => {
      if (!popup) return;
      const gone = popup;
      popup = null; // what closes now is not closed by a person
      gone.remove();
    };
    map.on("popupclose", (event) => {
      if (event.popup !== popup) return;
      popup = null;
      const inside = document.activeElement === document.body || map.getContainer().contains(document.activeElement);
      closed();
      if (back && inside) (document.querySelector(back) || map.getContainer()).focus({ preventScroll: true });
    });
    /** from: a selector of the element that the focus goes back to; without one the focus stays where it is. */
    const open = (place, content, from) => {
      close();
      back = from;
      const room = map.getSize();
      popup = L.popup({ maxWidth: Math.min(340, room.x - 64), minWidth: Math.min(240, room.x - 64), maxHeight: Math.max(140, room.y - 90), closeOnClick: false, autoPan: false });
      popup.setLatLng(place).setContent(content).openOn(map);
      comeIntoView(map, popup.getElement());
      const cross = popup.getElement().querySelector(".leaflet-popup-close-button");
      cross.setAttribute("aria-label", t("town.card.close"));
      content.addEventListener("keydown", (event) => {
        if (event.key === "Escape") map.closePopup(popup);
      });
      if (from) content.focus({ preventScroll: true });
    };
    return { open, close };
  }

  /** Printers get the same stretch of ground with its legend. */
  function printable(map) {
    let seen = null;
    const start = () => {
      if (seen) return;
      const folded = [...document.querySelectorAll("#colours-fold, #legend-fold")].filter((fold) => !fold.open);
      for (const fold of folded) fold.open = true;
      seen = { folded, bounds: map.getBounds(), center: map.getCenter(), zoom: map.getZoom(), snap: map.options.zoomSnap };
      map.getContainer().parentElement.classList.add(PRINTING);
      map.invalidateSize({ animate: false, pan: false });
      map.options.zoomSnap = 0; // the paper is used to its edges
      map.fitBounds(seen.bounds, { animate: false });
      sewermap.tiles.flush();
    };
    const end = () => {
      if (!seen) return;
      map.getContainer().parentElement.classList.remove(PRINTING);
      map.invalidateSize({ animate: false, pan: false });
      for (const fold of seen.folded) fold.open = false;
      map.options.zoomSnap = seen.snap;
      map.setView(seen.center, seen.zoom, { animate: false });
      seen = null;
    };
    window.addEventListener("beforeprint", start);
    window.addEventListener("afterprint", end);
    window.matchMedia("print").addEventListener("change", (media) => (media.matches ? start() : end()));
    return () => seen !== null;
  }

  /** The address bar follows the map once somebody has moved it, and the map follows the address bar. */
  function following(map, isPrinting) {
    const home = { center: map.getCenter(), zoom: map.getZoom() };
    const told = () => {
      const { lat, lng } = map.getCenter();
      return `${lat.toFixed(DIGITS)},${lng.toFixed(DIGITS)},${map.getZoom()}`;
    };
    let asked = null, now = told(), busy = false;
    return {
      moved() {
        if (busy || isPrinting() || told() === now) return;
        asked = now = told();
        url.replace({ at: asked });
      },
      follow(wanted) {
        if (url.get("at") === asked) return;
        asked = url.get("at");
        const { center, zoom } = wanted.at ? { center: wanted.at, zoom: wanted.at.zoom } : home;
        busy = true;
        map.setView(center, zoom, { animate: false });
        busy = false;
        now = told();
      },
    };
  }

  /** Which issue or lateral is chosen, on the map, in the list and as a card. */
  function choosing(map, look, layer, list) {
    const none = { issue: null, lateral: null };
    let chosen = "", how = null;
    const card = cards(map, () => url.replace(none));
    const mark = (issue, lateral) => {
      look.marked = { issue, lateral };
      layer.redraw();
      list.mark(issue);
    };
    function show(kind, row, names, details) {
      const { city } = sewermap, isIssue = kind === "issue", lateral = isIssue ? city.issues.lateral[row] : row;
      if (isIssue && look.known && !look.known[row]) return card.close() || mark(-1, -1); // nobody knew of it on that day
      const { at = null, back = null, moves = !url.get("at") } = how || {}, place = (isIssue && city.issuePlace(row)) || at || city.place(lateral);
      mark(isIssue ? row : -1, lateral);
      if (!place) return card.close(); // the list marks it; the map has no place for it
      if (moves) sewermap.townPlaces.toPlace(map, place);
      const next = (other, of) => choose(other, of, { back: back || "#map_town", moves: true });
      card.open(place, sewermap.townCard[isIssue ? "ofIssue" : "ofLateral"](row, look, names, details, next), back);
      if (back) map.getContainer().scrollIntoView({ block: "nearest" });
      return undefined;
    }
    /** Take on what the address bar says; anew: also where it says the same, for what is told of it may have changed. */
    function follow(wanted, anew) {
      const kind = wanted.issue ? "issue" : "lateral", name = wanted[kind], key = name ? `${kind} ${name}` : "";
      if (key === chosen && !(anew && key)) return;
      if (key === chosen) how ??= { moves: false };
      chosen = key;
      if (!key) {
        card.close();
        mark(-1, -1);
        return;
      }
      sewermap.city.names((names) => sewermap.details((details) => {
        const row = chosen === key ? sewermap.townPlaces.rowOf(kind, name, names) : -1;
        if (row >= 0) show(kind, row, names, details);
        how = null;
      }));
    }
    /** how: back (a selector of where the focus goes when the card closes), at (where it stands), moves (the map goes there). */
    function choose(kind, row, given) {
      sewermap.city.names((names) => {
        how = { at: null, back: null, moves: false, ...given };
        if (chosen === `${kind} ${names[kind](row)}`) follow(sewermap.wanted.read(), true);
        else url.set({ ...none, [kind]: names[kind](row) });
      });
    }
    return { choose, follow, nothing: () => url.replace(none) };
  }

  /** Clicks and the pointer's look. */
  function pointing(map, look, choice) {
    const none = { issue: -1, lateral: -1 };
    // From far one pixel holds a street: nobody can point at a house.
    const under = (event) => (map.getZoom() < sewermap.city.zooms.DOTS_FROM ? none : sewermap.city.pick(map, event.containerPoint, look));
    map.on("click", (event) => {
      const { issue, lateral } = under(event);
      if (issue >= 0) choice.choose("issue", issue, {});
      else if (lateral >= 0) choice.choose("lateral", lateral, { at: event.latlng });
      else choice.nothing();
    });
    map.on("mousemove", (event) => {
      map.getContainer().style.cursor = under(event).lateral >= 0 ? "pointer" : "";
    });
  }

  /** An online background, asked for by nobody until the switch is on. */
  function background(map, template, ground) {
    const fold = document.getElementById("background-fold"), box = document.getElementById("background");
    if (!template) return;
    const layer = L.tileLayer(template, { pane: "background", maxZoom: 22, maxNativeZoom: 19, className: "background-tile" });
    fold.hidden = false;
    box.addEventListener("change", () => {
      if (box.checked) layer.addTo(map);
      else layer.remove();
      ground.classList.toggle("over-background", box.checked);
    });
  }

  function foldOnPhones() {
    if (!window.matchMedia("(max-width: 62rem)").matches) return;
    for (const fold of document.querySelectorAll(".panel details")) fold.open = false;
  }

  sewermap.townPage = (map, options) => {
    accessible(map);
    foldOnPhones();
    pane(map, "background", 150);
    const ground = pane(map, "ground", 200), labels = pane(map, "labels", 450);
    // The list needs them as soon as the map stands: they are read while the city unpacks.
    sewermap.city.names(() => {});
    sewermap.details(() => {});
    sewermap.city.ready((city) => {
      const look = { issues: new Uint8Array(city.issues.count), laterals: new Uint8Array(city.laterals.count), colour: "grade", marked: null };
      let shown = null;
      city.ground({ pane: "ground" }).addTo(map);
      const layer = city.layer(look).addTo(map);
      city.labels(map, labels);
      background(map, options.background, ground);
      const list = sewermap.townList.keep(map, look, (row) => choice.choose("issue", row, { back: `[data-issue="${row}"]`, moves: true }));
      const choice = choosing(map, look, layer, list), view = following(map, printable(map));
      sewermap.townFilters.keep();
      sewermap.townLegend.fill();
      const time = sewermap.townTime.keep();
      sewermap.townSearch.keep((entry) => {
        if (entry.kind === "street") sewermap.townPlaces.toStreet(map, entry.row);
        else choice.choose("lateral", entry.row, { back: "#find", moves: true });
      });
      pointing(map, look, choice);
      const follow = () => {
        const wanted = sewermap.wanted.read(), key = sewermap.wanted.key(wanted);
        view.follow(wanted);
        sewermap.townFilters.follow(wanted);
        time(wanted.day);
        if (key === shown) return choice.follow(wanted, false);
        shown = key;
        sewermap.townLegend.follow(wanted.colour);
        return sewermap.wanted.apply(look, wanted, (counts) => {
          layer.redraw();
          sewermap.townFilters.tell(counts);
          list.renew();
          choice.follow(sewermap.wanted.read(), true);
        });
      };
      map.on("moveend resize", () => {
        view.moved();
        list.renewSoon();
      });
      url.listen(follow);
      follow();
      document.body.dataset.ready = "true";
      setTimeout(list.load, 0);
    });
  };
})();
