// The filters and the switch of colours: native controls that say what the address bar says, and change it.
"use strict";
(() => {
  const SOON_MS = 500;
  const { t } = sewermap;
  let chooseStreet = null; // chooseStreet(name): the filter shows it
  const control = (name) => document.getElementById(`filter-${name}`);

  function option(value, text) {
    const made = document.createElement("option");
    made.value = value;
    made.textContent = text;
    return made;
  }

  /** A city has thousands of streets, and a page that stands sooner without them: they are put in when somebody comes near them. */
  function streetsWhenWanted() {
    const select = control("street"), { town, city } = sewermap;
    let there = false;
    const fill = () => {
      if (there) return;
      there = true;
      const used = new Set(city.laterals.street), names = town.streets.filter((name, i) => name && used.has(i));
      select.append(...names.map((name) => option(name, name)));
    };
    for (const event of ["focus", "pointerenter", "pointerdown"]) select.addEventListener(event, fill, { once: true });
    setTimeout(() => (window.requestIdleCallback ?? setTimeout)(fill), SOON_MS); // not every browser has the former
    return (value) => {
      if (value) fill();
      if (select.value !== value) select.value = value;
    };
  }

  /** Choices that depend on the town. */
  function fill() {
    const { town, words } = sewermap;
    chooseStreet = streetsWhenWanted();
    const kinds = town.kinds.map((name) => [name, words.title(words.kind(name))]).sort((a, b) => a[1].localeCompare(b[1], sewermap.about.language));
    control("kind").append(...kinds.map(([name, text]) => option(name, text)));
    control("side").append(...["private", "public", "undetermined", "unknown"].map((name) => option(name, t(`town.side.${name}`))));
    control("state").append(...town.states.map((name) => option(name, words.title(words.state(name)))));
  }

  /** Controls take on what the address bar says. */
  function follow(wanted) {
    const { town, words, url } = sewermap, name = (list, row) => (row < 0 ? "" : list[row]);
    const values = {
      kind: name(town.kinds, wanted.kind), grade: wanted.grade || "", side: name(town.sides, wanted.side),
      state: wanted.state, since: words.isoDay(wanted.since), until: words.isoDay(wanted.until), due: wanted.due ?? "",
    };
    chooseStreet(name(town.streets, wanted.street));
    for (const [key, value] of Object.entries(values)) if (control(key).value !== String(value)) control(key).value = value;
    control("repeats").checked = wanted.repeats;
    for (const radio of document.querySelectorAll('input[name="colour"]')) radio.checked = radio.value === wanted.colour;
    document.getElementById("clear").disabled = !sewermap.wanted.filters();
    const active = sewermap.wanted.FILTERS.filter((key) => url.get(key) !== null).length;
    document.getElementById("filters-on").textContent = active ? sewermap.tn("town.filters.on", active) : "";
  }

  /** A control's value, null where it is what stands there by itself. */
  function valueOf(name) {
    const input = control(name);
    if (input.type === "checkbox") return input.checked ? "1" : null;
    return input.value === "" ? null : input.value;
  }

  function keep() {
    fill();
    for (const name of sewermap.wanted.FILTERS) {
      control(name).addEventListener("change", () => {
        if (control(name).validity.badInput) return;
        sewermap.url.set({ [name]: valueOf(name) });
      });
    }
    for (const radio of document.querySelectorAll('input[name="colour"]')) {
      radio.addEventListener("change", () => sewermap.url.set({ colour: radio.value === "grade" ? null : radio.value }));
    }
    const clear = document.getElementById("clear");
    clear.addEventListener("click", () => {
      sewermap.url.set(Object.fromEntries(sewermap.wanted.FILTERS.map((name) => [name, null])));
      control("street").focus(); // the button has switched itself off: the focus must not be lost
    });
  }

  /** "120 of 1,340 issues on 60 of 900 laterals", and what is left out without anybody having asked. */
  function tell(counts) {
    const { number } = sewermap, all = Object.fromEntries(Object.entries(counts).map(([name, count]) => [name, number(count)]));
    document.getElementById("shown").textContent = t("town.shown", all);
    const notes = [counts.mended && sewermap.tn("town.left_out.mended", counts.mended), counts.ungraded && sewermap.tn("town.left_out.ungraded", counts.ungraded), counts.unplaced && sewermap.tn("town.left_out.unplaced", counts.unplaced)];
    document.getElementById("left-out-note").textContent = notes.filter(Boolean).join(" ");
  }

  sewermap.townFilters = { keep, follow, tell };
})();
