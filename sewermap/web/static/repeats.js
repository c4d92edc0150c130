// What came back after work that should have mended it, the soonest first.
"use strict";
sewermap.list("repeats", ({ repeats: { count, columns } }) => {
  const { t, words, cells, number } = sewermap;
  const value = (key) => (row) => columns[key][row];
  const kind = (row) => words.kind(columns.kind[row]), state = (row) => words.state(columns.state[row]);
  const work = (row) => (columns.after_work_kind[row] === null ? null : words.work(columns.after_work_kind[row]));
  const kinds = [...new Set(columns.kind)].sort((a, b) => words.kind(a).localeCompare(words.kind(b)));

  sewermap.table(document.getElementById("rows"), {
    what: "repeats",
    count,
    empty: t("repeats.empty"),
    columns: [
      { key: "place", title: t("list.place"), value: value("place"), words: value("place") },
      { key: "lateral", title: t("list.lateral"), value: value("lateral"), words: value("lateral"), cell: (row) => cells.lateral(columns.lateral[row]) },
      { key: "kind", title: t("list.kind"), value: kind, words: kind, cell: (row) => cells.kind(columns.kind[row]) },
      { key: "grade", title: t("list.grade"), value: value("grade"), cell: (row) => cells.grade(columns.grade[row]), isNumber: true },
      { key: "state", title: t("list.state"), value: state, words: state, cell: state },
      { key: "days_after_work", title: t("repeats.days"), value: value("days_after_work"), cell: (row) => (columns.days_after_work[row] === null ? null : number(columns.days_after_work[row])), isNumber: true },
      { key: "after_work_kind", title: t("repeats.work"), value: work, words: work },
      { key: "last_seen", title: t("repeats.last"), value: value("last_seen"), cell: (row) => words.day(columns.last_seen[row]) },
      { key: "times_seen", title: t("repeats.times"), value: value("times_seen"), cell: (row) => number(columns.times_seen[row]), isNumber: true },
      { key: "issue", title: t("list.issue"), value: value("issue"), words: value("issue") },
      { key: "map", title: "", value: () => null, cell: (row) => cells.onMap({ lateral: columns.lateral[row], issue: columns.issue[row] }, columns.issue[row]) },
    ],
    filters: [
      { key: "kind", title: t("list.kind"), choices: [["", t("list.every_kind")], ...kinds.map((name) => [name, words.kind(name)])], test: (row, choice) => columns.kind[row] === choice },
      sewermap.streetFilter(columns.street),
    ],
  });
});
