// The roll-up by street: all that a public site tells.
"use strict";
sewermap.list("public", ({ streets: { count, columns } }) => {
  const { t, number, cells } = sewermap;
  const street = (row) => columns.street[row] || t("public.others");
  const counted = (key, title) => ({ key, title, value: (row) => columns[key][row], cell: (row) => number(columns[key][row]), isNumber: true });

  sewermap.table(document.getElementById("rows"), {
    what: "streets",
    count,
    empty: t("public.none"),
    columns: [
      { key: "street", title: t("list.street"), value: street, words: street },
      counted("laterals", t("public.laterals")),
      counted("scoped", t("public.scoped")),
      counted("issues", t("public.issues")),
      { key: "worst_grade", title: t("public.worst"), value: (row) => columns.worst_grade[row], cell: (row) => (columns.worst_grade[row] === null ? null : cells.grade(columns.worst_grade[row])), isNumber: true },
      counted("repeats", t("public.repeats")),
      counted("due", t("public.due")),
      { key: "per_100_m", title: t("public.per_100_m"), value: (row) => columns.per_100_m[row], cell: (row) => (columns.per_100_m[row] === null ? null : number(columns.per_100_m[row], 1)), isNumber: true },
    ],
  });
});
