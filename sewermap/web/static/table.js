// A table of many rows that sorts, filters and turns pages; only the rows of one page are in the document.
//
// sewermap.table(host, {what, count, columns, filters, order})
//   what      key of the words for a count: list.NAME.one and list.NAME.many
//   columns   [{key, title, value(row), words(row)?, cell(row)?, isNumber?}]; cell: a node, a text or null; by default the value
//   filters   [{key, title, choices: [[value, title], …], start, test(row, value)}]; key is also the address bar's; "" shows all
//   prefix    put before the keys "find", "sort" and "page" in the address bar, where a page has several tables
"use strict";
(() => {
  const PAGE = 100, PRINTED = 2000, WAIT_MS = 150, SHORT = 16;
  const { url } = sewermap;
  let tables = 0;

  function table(host, spec) {
    const { t, tn, number } = sewermap, { made } = sewermap.cells;
    const id = (tables += 1), prefix = spec.prefix || "";
    const byKey = Object.fromEntries(spec.columns.map((column) => [column.key, column]));
    const filters = spec.filters || [];
    const logic = sewermap.tableRows({ count: spec.count, columns: byKey, filters: Object.fromEntries(filters.map(({ key, test }) => [key, test])) });
    let shown = new Uint32Array(0), page = 0, printing = false, asked = null;

    const find = made("input", { type: "search", id: `find-${id}`, autocomplete: "off", spellcheck: "false" });
    const selects = filters.map((filter) => select(`filter-${id}-${filter.key}`, filter.choices));
    const sortBy = select(`sort-${id}`, sortChoices(spec.columns));
    const form = made("div", { class: "table-tools no-print", role: "group", "aria-label": t("list.tools") }, labelled(t("list.find"), find));
    filters.forEach((filter, at) => form.append(labelled(filter.title, selects[at])));
    form.append(labelled(t("list.sort"), sortBy, "sort-by"));

    const status = made("caption", { id: `count-${id}` });
    const live = made("p", { class: "visually-hidden", role: "status" });
    const heads = spec.columns.map((column) => head(column));
    const body = made("tbody", { role: "rowgroup" });
    const grid = made("table", { class: "rows", role: "table" }, status, made("thead", { role: "rowgroup" }, made("tr", { role: "row" }, ...heads)), body);
    const none = made("p", { class: "none", hidden: true });
    const pager = made("nav", { class: "pager no-print", "aria-label": t("list.pages") });
    host.replaceChildren(form, live, made("div", { class: "rows-box" }, grid), none, pager);

    function head(column) {
      if (!column.title) return made("th", { scope: "col", role: "columnheader", class: "no-print" }, made("span", { class: "visually-hidden" }, t("list.map")));
      const button = made("button", { type: "button", class: "sort" }, column.title, made("span", { class: "arrow", "aria-hidden": "true" }));
      button.addEventListener("click", () => {
        const now = sort();
        const isDown = now !== null && now.key === column.key && !now.down;
        url.replace({ [`${prefix}sort`]: `${isDown ? "-" : ""}${column.key}`, [`${prefix}page`]: null });
      });
      return made("th", { scope: "col", role: "columnheader", class: column.isNumber ? "number" : null }, button);
    }

    function labelled(title, control, name = null) {
      return made("p", { class: name }, made("label", { for: control.id }, title), control);
    }

    function select(name, choices) {
      return made("select", { id: name }, ...choices.map(([value, title]) => made("option", { value }, sewermap.cells.shortened(title))));
    }

    function sortChoices(columns) {
      const pairs = columns.filter((column) => column.title).flatMap(({ key, title }) => [[key, `${title} ↑`], [`-${key}`, `${title} ↓`]]);
      return [["", t("list.given_order")], ...pairs];
    }

    /** {key, down} as the address bar says, null for the order given. */
    function sort() {
      const said = url.get(`${prefix}sort`) || "", key = said.replace(/^-/, "");
      return Object.hasOwn(byKey, key) ? { key, down: said.startsWith("-") } : null;
    }

    /** What a filter is set to: as the address bar says, else as it starts. "all" shows all. */
    function chosen(filter) {
      const said = url.get(filter.key);
      return said !== null && filter.choices.some(([value]) => value === said) ? said : filter.start || "";
    }

    function update() {
      const choices = Object.fromEntries(filters.map((filter) => [filter.key, chosen(filter) === "all" ? "" : chosen(filter)]));
      const words = url.get(`${prefix}find`) || "", order = sort();
      const ask = JSON.stringify([words, choices, order]);
      if (document.activeElement !== find) find.value = words;
      filters.forEach((filter, at) => { selects[at].value = chosen(filter); });
      sortBy.value = order ? `${order.down ? "-" : ""}${order.key}` : "";
      if (ask !== asked) shown = logic.rows({ find: words, choices, sort: order });
      asked = ask;
      page = Math.min(Math.max(Number.parseInt(url.get(`${prefix}page`) || "1", 10) - 1 || 0, 0), Math.max(Math.ceil(shown.length / PAGE) - 1, 0));
      draw(order);
    }

    function draw(order) {
      const from = printing ? 0 : page * PAGE, until = Math.min(from + (printing ? PRINTED : PAGE), shown.length);
      spec.columns.forEach(({ key }, at) => {
        const isSorted = order !== null && order.key === key;
        if (isSorted) heads[at].setAttribute("aria-sort", order.down ? "descending" : "ascending");
        else heads[at].removeAttribute("aria-sort");
      });
      body.replaceChildren(...Array.from(shown.subarray(from, until), line));
      const said = counted(from, until);
      status.textContent = said;
      if (live.textContent !== said) live.textContent = said;
      grid.hidden = shown.length === 0;
      none.hidden = shown.length > 0;
      none.textContent = spec.count ? t("list.none_found", { all: tn(`list.${spec.what}`, spec.count) }) : spec.empty || t("list.none");
      form.hidden = spec.count === 0;
      turn();
      if (spec.drawn) spec.drawn(shown);
    }

    function counted(from, until) {
      const all = tn(`list.${spec.what}`, spec.count);
      const told = shown.length === spec.count ? t("list.all", { all }) : t("list.shown", { shown: number(shown.length), all });
      return until - from < shown.length ? `${told} ${t("list.part", { from: number(from + 1), until: number(until) })}` : told;
    }

    function line(row) {
      const cells = spec.columns.map((column) => {
        const content = column.cell ? column.cell(row) : column.value(row);
        const isEmpty = content === null || content === undefined || content === "";
        const inside = isEmpty ? "–" : content instanceof Node ? content : sewermap.cells.text(content);
        const td = made("td", { role: "cell", "data-title": column.title || null }, inside);
        // A day or a name stays in one line; what is long may break anywhere.
        if (td.textContent.length <= SHORT) td.classList.add("short");
        if (!column.title) td.classList.add("no-print");
        if (column.isNumber) td.classList.add("number");
        if (isEmpty) td.classList.add("blank");
        return td;
      });
      return made("tr", { role: "row" }, ...cells);
    }

    function turn() {
      const pages = Math.ceil(shown.length / PAGE);
      pager.hidden = pages < 2;
      if (pager.hidden) return pager.replaceChildren();
      const had = pager.contains(document.activeElement) ? document.activeElement.dataset.turn : null;
      const steps = [["first", 0], ["back", page - 1], ["next", page + 1], ["last", pages - 1]];
      const buttons = steps.map(([name, to]) => {
        const button = made("button", { type: "button", "data-turn": name, "aria-disabled": to < 0 || to >= pages || to === page ? "true" : null }, t(`list.${name}`));
        button.addEventListener("click", () => {
          if (button.hasAttribute("aria-disabled")) return;
          url.set({ [`${prefix}page`]: to ? to + 1 : null });
          host.scrollIntoView({ block: "start" });
        });
        return button;
      });
      const where = made("span", {}, t("list.page_of", { page: number(page + 1), pages: number(pages) }));
      pager.replaceChildren(...buttons.slice(0, 2), where, ...buttons.slice(2));
      if (had) pager.querySelector(`[data-turn="${had}"]`).focus({ preventScroll: true });
      return undefined;
    }

    let timer = 0;
    find.addEventListener("input", () => {
      window.clearTimeout(timer);
      timer = window.setTimeout(() => url.replace({ [`${prefix}find`]: find.value, [`${prefix}page`]: null }), WAIT_MS);
    });
    filters.forEach((filter, at) => {
      selects[at].addEventListener("change", () => {
        const value = selects[at].value;
        url.replace({ [filter.key]: value === (filter.start || "") ? null : value || "all", [`${prefix}page`]: null });
      });
    });
    sortBy.addEventListener("change", () => url.replace({ [`${prefix}sort`]: sortBy.value, [`${prefix}page`]: null }));
    // Paper has no pages to turn.
    window.addEventListener("beforeprint", () => print(true));
    window.addEventListener("afterprint", () => print(false));
    function print(on) {
      printing = on;
      if (grid.isConnected) draw(sort());
    }

    // A table that another took the place of is done.
    url.listen(() => grid.isConnected && update());
    update();
    return { rows: () => shown };
  }

  sewermap.table = table;
})();
