// Which checks of warranties are due, in the order in which a van drives past the houses.
"use strict";
sewermap.list("due", ({ due: { count, columns } }) => {
  const SOON_DAYS = 60;
  const { t, words, cells, about, number } = sewermap;
  const last = words.dayNumber(about.as_of) + SOON_DAYS;
  const asks = (row) => columns.state[row] === "due" || (columns.state[row] === "not yet" && words.dayNumber(columns.check_from[row]) <= last);
  const value = (key) => (row) => columns[key][row];
  const state = (row) => sewermap.tOr(`due_state.${columns.state[row]}`, columns.state[row]);
  const stop = { key: "stop", title: t("due.stop"), value: value("stop"), cell: (row) => (columns.stop[row] === null ? null : number(columns.stop[row])), isNumber: true };

  /** Days left with what they mean where there are none left. */
  function left(row) {
    const days = columns.days_left[row];
    if (days === null || columns.state[row] === "checked") return null;
    return days < 0 ? sewermap.tn("due.over", -days) : number(days);
  }

  /** How many issues are open, and what everybody must know of one of them. */
  function issues(row) {
    const count = number(columns.open_issues[row] || 0);
    return columns.caution && columns.caution[row] ? cells.made("span", {}, `${count} `, cells.stop()) : count;
  }

  sewermap.table(document.getElementById("rows"), {
    what: "checks",
    count,
    empty: t("due.empty"),
    columns: [
      ...(columns.stop ? [stop] : []),
      { key: "place", title: t("list.place"), value: value("place"), words: value("place") },
      { key: "lateral", title: t("list.lateral"), value: value("lateral"), words: value("lateral"), cell: (row) => cells.lateral(columns.lateral[row]) },
      { key: "check_by", title: t("due.by"), value: value("check_by"), cell: (row) => words.day(columns.check_by[row]) },
      { key: "days_left", title: t("due.left"), value: value("days_left"), cell: left, isNumber: true },
      { key: "state", title: t("due.state"), value: state, words: state, cell: state },
      { key: "left_to_look", title: t("due.to_look"), value: value("left_to_look"), cell: (row) => words.stretches(columns.left_to_look[row]) },
      { key: "open_issues", title: t("due.issues"), value: value("open_issues"), cell: issues, isNumber: true },
      { key: "answerable", title: t("due.answerable"), value: value("answerable"), words: value("answerable") },
      { key: "warranty", title: t("due.warranty"), value: value("warranty"), words: value("warranty") },
      { key: "map", title: "", value: () => null, cell: (row) => cells.onMap({ lateral: columns.lateral[row] }, columns.lateral[row]) },
    ],
    filters: [
      {
        key: "state",
        title: t("due.show"),
        start: "asks",
        choices: [["asks", t("due.asks")], ["all", t("due.all")], ...["due", "not yet", "checked", "lapsed"].map((name) => [name, t(`due_state.${name}`)])],
        test: (row, choice) => (choice === "asks" ? asks(row) : columns.state[row] === choice),
      },
      sewermap.streetFilter(columns.street),
    ],
  });
});
