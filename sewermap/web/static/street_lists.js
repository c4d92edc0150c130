// The lists of the street page: all streets; and of one street its figures, its laterals in house order, what is due.
"use strict";
(() => {
  const { words, cells } = sewermap, { made } = cells;
  const percent = (share) => (words.missing(share) ? null : sewermap.t("told.percent", { number: sewermap.number(Math.round(share * 100)) }));
  const per100 = (value) => (words.missing(value) ? null : sewermap.number(value, 1));
  const hotspot = (one) => (one.hotspot ? made("strong", {}, sewermap.t("street.hotspot")) : null);
  const NO_CHANCE = 0.001;

  /** How often chance alone would bring so much, as a share in words. */
  function chance(value) {
    if (words.missing(value)) return null;
    return value < NO_CHANCE ? sewermap.t("street.rare", { number: sewermap.number(NO_CHANCE * 100) }) : sewermap.t("told.percent", { number: sewermap.number(Math.round(value * 1000) / 10) });
  }

  function streetLink(one) {
    return made("a", { href: sewermap.url.href("street", one.street ? { street: one.street } : { none: 1 }) }, made("bdi", {}, one.street ? cells.shortened(one.street) : sewermap.t("street.none")));
  }

  function column(rows, key, title, tell = null, more = {}) {
    return { key, title, value: (row) => rows[row][key], words: (row) => String(rows[row][key] ?? ""), ...(tell ? { cell: (row) => tell(rows[row]) } : {}), ...more };
  }

  const count = (key) => (one) => sewermap.number(one[key] || 0);

  function streets(host, rows) {
    const { t } = sewermap, number = { isNumber: true };
    sewermap.table(host, {
      what: "streets",
      count: rows.length,
      empty: t("street.empty"),
      columns: [
        column(rows, "street", t("list.street"), streetLink),
        column(rows, "laterals", t("street.laterals"), count("laterals"), number),
        column(rows, "scoped", t("street.scoped"), count("scoped"), number),
        column(rows, "issues", t("street.issues"), count("issues"), number),
        column(rows, "worst_grade", t("street.worst"), (one) => cells.grade(one.worst_grade), number),
        column(rows, "repeats", t("street.repeats"), count("repeats"), number),
        column(rows, "due", t("street.due"), count("due"), number),
        column(rows, "per_100_m", t("street.per_100_m"), (one) => per100(one.per_100_m), number),
        column(rows, "hotspot", t("street.hotspots"), hotspot),
      ],
    });
  }

  /** The figures of one street, as ``sewermap streets`` tells them. */
  function rollup(one) {
    const { t, number } = sewermap, { facts } = sewermap.streetFacts;
    const told = facts([
      [t("street.laterals"), number(one.laterals), "laterals"],
      [t("street.scoped"), number(one.scoped), "scoped"],
      [t("street.never"), percent(one.never_scoped), "never_scoped"],
      [t("street.scoped_length"), words.length(one.scoped_m), "scoped_m"],
      [t("street.issues"), number(one.issues), "issues"],
      [t("street.ungraded"), number(one.ungraded), "ungraded"],
      [t("street.worst"), cells.grade(one.worst_grade), "worst_grade"],
      [t("street.roots"), number(one.roots), "roots"],
      [t("street.repeats"), number(one.repeats), "repeats"],
      [t("street.repeat_rate"), percent(one.repeat_rate), "repeat_rate"],
      [t("street.per_100_m"), per100(one.per_100_m), "per_100_m"],
      [t("street.due"), number(one.due || 0), "due"],
    ]);
    const means = made("p", { class: one.hotspot ? "stop hot" : "hint" }, one.hotspot ? t("street.is_hotspot", { chance: chance(one.chance) }) : words.missing(one.chance) ? t("street.not_looked") : t("street.no_hotspot", { chance: chance(one.chance) }));
    return made("div", {}, told, means);
  }

  /** Of each lateral the checks that ask for something, the most pressing. */
  function pressing(street) {
    const rank = ["due", "lapsed", "not yet", "checked"], found = new Map();
    for (const one of street.rows("due")) {
      const before = found.get(one.of);
      if (!before || rank.indexOf(one.state) < rank.indexOf(before.state)) found.set(one.of, one);
    }
    return found;
  }

  function laterals(host, street) {
    const { t, tOr, number } = sewermap, due = pressing(street), rows = street.rows("laterals");
    for (const one of rows) {
      const check = due.get(one.of);
      one.check = check ? tOr(`due_state.${check.state}`, check.state) : null;
      one.check_by = check ? check.check_by : null;
    }
    const graded = (one) => made("span", { class: "signed" }, one.grade ? sewermap.signs.picture(sewermap.signs.classOf("defect", one.grade)) : null, cells.grade(one.grade));
    const checked = (one) => (one.check ? `${one.check}${one.check_by ? `, ${t("street.by", { day: words.day(one.check_by) })}` : ""}` : null);
    sewermap.table(host, {
      what: "laterals",
      prefix: "l.",
      count: rows.length,
      columns: [
        column(rows, "place", t("list.place"), (one) => made("a", { href: sewermap.url.href("property", { lateral: one.lateral }) }, made("bdi", {}, cells.shortened(one.place || one.lateral)))),
        column(rows, "lateral", t("list.lateral")),
        column(rows, "grade", t("list.grade"), graded),
        column(rows, "last_run_on", t("street.last"), (one) => (one.last_run_on ? words.day(one.last_run_on) : t("street.never_one"))),
        column(rows, "issues", t("street.issues"), (one) => number(one.issues || 0), { isNumber: true }),
        column(rows, "repeats", t("street.repeats"), (one) => number(one.repeats || 0), { isNumber: true }),
        column(rows, "check", t("street.check"), checked),
        { key: "map", title: "", value: () => null, cell: (row) => cells.onMap({ lateral: rows[row].lateral }, rows[row].lateral) },
      ],
    });
  }

  function dueRows(street) {
    const { t, tOr } = sewermap, names = street.rows("laterals");
    const asks = street.rows("due").filter((one) => one.state === "due" || one.state === "lapsed");
    asks.sort((a, b) => (a.state === b.state ? 0 : a.state === "due" ? -1 : 1));
    if (!asks.length) return made("p", {}, t("street.nothing_due"));
    return sewermap.records(asks, [
      [t("list.place"), (one) => made("a", { href: sewermap.url.href("property", { lateral: names[one.of].lateral }) }, made("bdi", {}, cells.shortened(names[one.of].place || names[one.of].lateral)))],
      [t("due.state"), (one) => tOr(`due_state.${one.state}`, one.state)],
      [t("due.by"), (one) => words.day(one.check_by)],
      [t("due.to_look"), (one) => sewermap.words.stretches(one.left_to_look)],
      [t("due.answerable"), (one) => one.answerable],
      [t("due.warranty"), (one) => one.warranty],
    ], t("street.what_due"));
  }

  sewermap.streetLists = { streets, rollup, laterals, dueRows };
})();
