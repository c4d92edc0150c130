// A small search for a lateral by its name or address, for a page that nobody named one to.
"use strict";
(() => {
  const MOST = 30;

  function folded(text) {
    return text.normalize("NFD").replace(/\p{M}/gu, "").toLowerCase();
  }

  sewermap.findLateral = (host) => {
    const { t, tn, cells, url } = sewermap, { made } = cells;
    const input = made("input", { id: "find-lateral", type: "search", autocomplete: "off", spellcheck: "false" });
    const list = made("ul", { class: "found" }), status = made("p", { class: "hint", role: "status" });
    host.replaceChildren(made("p", { class: "find-one" }, made("label", { for: "find-lateral" }, t("property.find")), input), status, list);
    sewermap.city.names((names) => {
      const { count, street } = sewermap.city.laterals, told = new Array(count);
      const line = (row) => {
        const place = sewermap.place(names.address(row), sewermap.town.streets[street[row]] || "");
        return { name: names.lateral(row), place };
      };
      const look = () => {
        const words = folded(input.value).split(/\s+/).filter(Boolean), rows = [];
        let all = 0;
        for (let row = 0; row < count; row += 1) {
          told[row] ??= folded(`${line(row).name} ${line(row).place}`);
          if (!words.every((word) => told[row].includes(word))) continue;
          all += 1;
          if (rows.length < MOST) rows.push(line(row));
        }
        status.textContent = all > MOST ? t("property.first_found", { shown: MOST, all: sewermap.number(all) }) : tn("property.found", all);
        list.replaceChildren(...rows.map(({ name, place }) => made("li", {}, made("a", { href: url.href("property", { lateral: name }) }, made("bdi", {}, cells.shortened(place || name))), place ? made("span", { class: "hint" }, " ", made("bdi", {}, cells.shortened(name))) : null)));
      };
      input.addEventListener("input", look);
      look();
    });
  };
})();
