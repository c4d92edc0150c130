// What is wrong, assumed or missing in the data: counts, and a list for each.
"use strict";
sewermap.list("quality", (lists) => sewermap.city.ready(() => sewermap.city.names((names) => {
  const { t, tn, words, cells, number } = sewermap;
  const { made } = cells;

  /** Where a row came from: file and row. */
  const source = ({ columns }, path, row) => (at) => `${columns[path][at] ?? ""}${columns[row][at] === null ? "" : `, ${t("quality.row", { row: columns[row][at] })}`}`;

  const of = ({ columns }, key) => (row) => columns[key][row];
  const plain = (list, key, title) => ({ key, title, value: of(list, key), words: (row) => list.columns[key][row] });
  const lateral = (list) => ({ ...plain(list, "lateral", t("list.lateral")), cell: (row) => cells.lateral(list.columns.lateral[row]) });
  const map = (list) => ({ key: "map", title: "", value: () => null, cell: (row) => (list.columns.lateral[row] ? cells.onMap({ lateral: list.columns.lateral[row] }, list.columns.lateral[row]) : null) });

  function unplaced(list) {
    const kind = (row) => words.kind(list.columns.kind[row]), reading = (row) => words.reading(list.columns.reading[row], list.columns.unit[row]);
    const from = source(list, "source_file", "source_row");
    return [
      plain(list, "place", t("list.place")), lateral(list),
      { key: "kind", title: t("list.kind"), value: kind, words: kind, cell: (row) => cells.kind(list.columns.kind[row]) },
      { key: "reading", title: t("quality.reading"), value: reading },
      plain(list, "reason", t("quality.reason")),
      plain(list, "run", t("quality.run")),
      { key: "ran_on", title: t("quality.day"), value: of(list, "ran_on"), cell: (row) => words.day(list.columns.ran_on[row]) },
      plain(list, "remark", t("quality.remark")),
      { key: "source", title: t("quality.source"), value: from, words: from },
      map(list),
    ];
  }

  function rejected(list) {
    const from = source(list, "path", "row");
    return [
      { key: "source", title: t("quality.source"), value: from, words: from },
      plain(list, "section", t("quality.section")), plain(list, "field", t("quality.field")), plain(list, "value", t("quality.value")),
      plain(list, "reason", t("quality.reason")),
    ];
  }

  function conflicts(list) {
    const what = (row) => (list.columns.what[row] === "run" ? t("quality.of_run", { run: cells.shortened(list.columns.run[row]) }) : t("quality.of_line"));
    return [
      plain(list, "place", t("list.place")), lateral(list),
      { key: "what", title: t("quality.where"), value: what, words: what },
      { key: "ran_on", title: t("quality.day"), value: of(list, "ran_on"), cell: (row) => words.day(list.columns.ran_on[row]) },
      plain(list, "note", t("quality.note")),
      map(list),
    ];
  }

  /** Laterals by number: their names are in another file. */
  function laterals(list) {
    const rows = sewermap.fromSteps(list.columns.step), city = sewermap.city.laterals;
    const name = (row) => names.lateral(rows[row]), street = (row) => sewermap.town.streets[city.street[rows[row]]];
    const place = (row) => sewermap.place(names.address(rows[row]), street(row));
    return [
      { key: "place", title: t("list.place"), value: place, words: place },
      { key: "street", title: t("list.street"), value: street },
      { key: "lateral", title: t("list.lateral"), value: name, words: name, cell: (row) => cells.lateral(name(row)) },
      { key: "map", title: "", value: () => null, cell: (row) => cells.onMap({ lateral: name(row) }, name(row)) },
    ];
  }

  const sections = { unplaced, rejected, conflicts, never: laterals, assumed: laterals, warnings: rejected };
  const counts = document.getElementById("counts"), host = document.getElementById("rows");
  for (const [name, columnsOf] of Object.entries(sections)) {
    const list = lists[name];
    if (name === "warnings" && list.count === 0) continue; // loading tells them and keeps none
    const link = made("a", { href: `#${name}` }, made("strong", {}, number(list.count)), ` ${t(`quality.${name}`)}`);
    link.addEventListener("click", (event) => {
      event.preventDefault(); // the address bar holds the state of the lists
      const title = document.getElementById(name);
      title.focus();
      title.scrollIntoView();
    });
    counts.append(made("li", {}, link));
    const part = made("div");
    host.append(made("section", { "aria-labelledby": name }, made("h2", { id: name, tabindex: "-1" }, t(`quality.${name}_title`)), made("p", { class: "hint" }, t(`quality.${name}_means`)), part));
    sewermap.table(part, { what: "rows", count: list.count, columns: columnsOf(list), prefix: `${name}-`, empty: t("quality.none") });
  }
  const faults = ["unplaced", "rejected", "conflicts"].reduce((sum, name) => sum + lists[name].count, 0);
  document.getElementById("told").textContent = faults ? tn("quality.told", faults) : t("quality.sound");
})));
