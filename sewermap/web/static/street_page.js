// The page of one street; without a name in the address bar, the list of all streets.
"use strict";
sewermap.list("streets", ({ streets: { count, columns } }) => {
  const { t, url, cells, about } = sewermap, { made } = cells;
  const by = (id) => document.getElementById(id);
  const keys = Object.keys(columns), usual = about.units;
  const rows = Array.from({ length: count }, (_, row) => Object.fromEntries(keys.map((key) => [key, columns[key][row]])));
  let shown = null;

  function section(key, node) {
    const id = `${key.replace(".", "-")}-title`;
    return made("section", { "aria-labelledby": id }, made("h2", { id }, t(key)), node);
  }

  function show(all, one, text = "") {
    by("told").textContent = text;
    by("told").hidden = !text;
    by("all").hidden = !all;
    by("one").hidden = !one;
  }

  function everyStreet(text) {
    by("heading").textContent = t("page.street");
    show(true, false, text);
    sewermap.streetLists.streets(by("all"), rows);
    document.body.dataset.ready = "true";
  }

  function fill(one, street) {
    const { units } = about, other = units === "m" ? "ft" : "m", name = one.street || t("street.none");
    const change = made("button", { type: "button", id: "units", class: "no-print" }, t(`property.in_${other}`));
    change.addEventListener("click", () => {
      url.replace({ units: other === usual ? null : other });
      by("units").focus();
    });
    by("heading").replaceChildren(made("bdi", {}, cells.shortened(name)));
    document.title = `${cells.shortened(name)} – ${document.title.split(" – ").slice(1).join(" – ")}`;
    const links = [made("a", { href: "street.html" }, t("street.every")), one.street ? made("a", { href: url.href("index", { street: one.street }) }, t("street.on_town_map")) : null];
    by("rollup").replaceChildren(made("p", { class: "links" }, ...links.map((link) => link && made("span", { class: "no-print" }, link)), change), sewermap.streetLists.rollup(one));
    const laterals = made("div", {});
    by("lists").replaceChildren(section("street.houses", laterals), section("street.what_due", sewermap.streetLists.dueRows(street)));
    sewermap.streetLists.laterals(laterals, street);
    show(false, true);
    sewermap.city.ready((city) => {
      const of = [];
      for (let row = 0; row < city.laterals.count; row += 1) if (city.laterals.street[row] === one.number) of.push(row);
      sewermap.showOnMap({ laterals: of, told: (found) => { by("map-told").textContent = found ? t("street.map_told") : t("street.no_line"); } });
    });
    document.body.dataset.ready = "true";
  }

  function follow() {
    const name = url.get("street") ?? (url.get("none") ? "" : null), units = ["m", "ft"].includes(url.get("units")) ? url.get("units") : usual;
    if (shown && shown.name === name && shown.units === units) return;
    shown = { name, units };
    about.units = units;
    if (name === null) return everyStreet("");
    const one = rows.find((row) => (row.street || "") === name);
    if (!one) return everyStreet(t("street.unknown", { street: cells.shortened(name) }));
    return sewermap.street(one.number, (street) => shown.name === name && shown.units === units && fill(one, street));
  }

  url.listen(follow);
  follow();
});
