// The page of one lateral: the address bar says which one, in feet or metres.
"use strict";
(() => {
  const { t, url, cells, words } = sewermap, { made } = cells;
  const by = (id) => document.getElementById(id);
  const usual = sewermap.about.units;
  // From `sewermap serve` a page's address holds the data's version; its sheets for digging are made when asked for.
  const isServed = location.protocol !== "file:" && /\/v\/[0-9a-f]{16}-\d{8}\/[^/]*$/.test(location.pathname);
  let shown = null;

  function section(key, node) {
    const id = `${key.replace(".", "-")}-title`;
    return made("section", { "aria-labelledby": id }, made("h2", { id }, t(key)), node);
  }

  function unitSwitch() {
    const other = sewermap.about.units === "m" ? "ft" : "m";
    const button = made("button", { type: "button", id: "units", class: "no-print" }, t(`property.in_${other}`));
    button.addEventListener("click", () => {
      url.replace({ units: other === usual ? null : other });
      by("units").focus();
    });
    return button;
  }

  function links(lateral) {
    const street = lateral.street ? made("a", { href: url.href("street", { street: lateral.street }) }, made("bdi", {}, cells.shortened(lateral.street))) : null;
    const map = made("a", { href: url.href("index", { lateral: lateral.lateral }) }, t("property.on_town_map"));
    const find = made("a", { href: "property.html" }, t("property.other"));
    return made("p", { class: "links" }, made("span", {}, made("span", { class: "no-print" }, `${t("list.lateral")} `), made("bdi", {}, cells.shortened(lateral.lateral))), street, made("span", { class: "no-print" }, map), made("span", { class: "no-print" }, find), unitSwitch());
  }

  function withSheets(issues) {
    const hasSheet = (issue) => sewermap.propertyWords.isOpen(issue) && !words.missing(issue.measure_m);
    return issues.map((issue) => (hasSheet(issue) ? { ...issue, dig: `../../digsheet/${encodeURIComponent(issue.issue)}?units=${sewermap.about.units}` } : issue));
  }

  function fill(known, row) {
    const all = isServed ? { ...known, issues: withSheets(known.issues) } : known;
    const { lateral } = all, place = lateral.place || lateral.lateral, lists = by("lists");
    by("heading").replaceChildren(made("bdi", {}, cells.shortened(place)));
    document.title = `${cells.shortened(place)} – ${document.title.split(" – ").slice(1).join(" – ")}`;
    by("summary").replaceChildren(links(lateral), sewermap.propertyWords.summary(all));
    sewermap.strip(by("strip"), all);
    by("owns").replaceChildren(sewermap.propertyWords.owns(lateral));
    by("facts").replaceChildren(sewermap.propertyWords.ofLateral(lateral));
    const issues = made("div", {}), observations = made("div", {});
    const records = sewermap.propertyRecords(all), isRun = ([key]) => key === "property.runs";
    const sections = [["property.issues", issues], ...records.filter((one) => !isRun(one)), ["property.observations", observations], ...records.filter(isRun)];
    lists.replaceChildren(...sections.map(([key, node]) => section(key, node)));
    sewermap.propertyTables.issues(issues, all);
    sewermap.propertyTables.observations(observations, all);
    // Two lists on one page: their tools are told apart by name.
    for (const [host, key] of [[issues, "property.issues"], [observations, "property.observations"]]) {
      host.querySelector(".table-tools").setAttribute("aria-label", `${t("list.tools")}: ${t(key)}`);
    }
    if (shown.row !== row) sewermap.showOnMap({ laterals: [row], marked: row, told: (found) => { by("map-told").textContent = found ? t("property.map_told") : t("property.no_line"); } });
    shown.row = row;
    document.body.dataset.ready = "true";
  }

  function say(text, search) {
    by("told").textContent = text;
    by("told").hidden = !text;
    by("one").hidden = Boolean(text) || search;
    by("find").hidden = !search;
    if (!search) return;
    by("heading").textContent = t("page.property");
    sewermap.findLateral(by("find"));
    document.body.dataset.ready = "true";
  }

  function follow() {
    const name = url.get("lateral"), units = url.get("units") === "m" || url.get("units") === "ft" ? url.get("units") : usual;
    // A table's own keys are the table's business.
    if (shown && shown.name === name && shown.units === units) return;
    shown = { name, units, row: shown && shown.name === name ? shown.row : -1 };
    sewermap.about.units = units;
    if (!name) return say("", true);
    return sewermap.city.ready((city) => sewermap.city.names((names) => {
      if (shown.name !== name) return;
      let row = 0;
      while (row < city.laterals.count && names.lateral(row) !== name) row += 1;
      if (row === city.laterals.count) return say(t("property.unknown", { lateral: cells.shortened(name) }), true);
      sewermap.street(city.laterals.street[row], (street) => {
        if (shown.name !== name || shown.units !== units) return;
        say("", false);
        fill(street.of(street.lateral(name)), row);
      });
    }));
  }

  url.listen(follow);
  follow();
})();
