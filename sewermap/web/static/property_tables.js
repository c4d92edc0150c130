// The property page's lists that sort: issues, and every observation with its reading as it was written.
"use strict";
(() => {
  const { words, cells } = sewermap, { made } = cells;

  /** A place along the line: the user's unit on one line, the other one on the next. */
  const measured = (one) => {
    if (words.missing(one.measure_m)) return null;
    const from = words.length(one.measure_m, one.sigma_m);
    const said = words.missing(one.to_measure_m) ? from : sewermap.t("strip.from_to", { from, to: words.length(one.to_measure_m) });
    return made("span", { class: "whole-lines" }, ...said.split(/(?= \()/).map((part) => made("span", {}, part)));
  };

  /** A short text that is not broken. */
  const kept = (text) => (text ? made("span", { class: "kept" }, text) : null);

  const signed = (role, one) => made("span", { class: "signed" }, sewermap.signs.picture(sewermap.signs.classOf(role, one.grade), one.kind === sewermap.symbols.CROSS_BORE), cells.text(words.kind(one.kind)));

  function value(rows, key) {
    return (row) => rows[row][key];
  }

  /** A column of a key of the rows, told as it is or by tell(row object). */
  function column(rows, key, title, tell = null, more = {}) {
    return { key, title, value: value(rows, key), words: (row) => String(rows[row][key] ?? ""), ...(tell ? { cell: (row) => tell(rows[row]) } : {}), ...more };
  }

  /** The reading with which each issue was last seen. */
  function lastReadings(all) {
    const readings = new Map();
    for (const seen of all.observations) {
      if (seen.issue) readings.set(seen.issue, words.reading(seen.to_reading ? `${seen.reading} – ${seen.to_reading}` : seen.reading, seen.unit));
    }
    return readings;
  }

  function issues(host, all) {
    const { t, number } = sewermap, last = lastReadings(all), rows = all.issues.map((issue) => ({ ...issue, reading: last.get(issue.issue) || null }));
    const growth = (one) => (words.missing(one.growth_low) ? null : t("property.growth_range", { low: number(one.growth_low, 0), high: number(one.growth_high, 0) }));
    const came = (one) => (one.is_repeat ? t("property.came_back", { days: number(one.days_after_work ?? 0), work: words.work(one.after_work_kind || "") }) : null);
    const sheet = (one) => (one.dig ? made("a", { href: one.dig, "aria-label": t("property.sheet_of", { issue: cells.shortened(one.issue) }) }, t("property.sheet")) : null);
    sewermap.table(host, {
      what: "issues",
      prefix: "i.",
      count: rows.length,
      empty: t("property.no_issue"),
      columns: [
        column(rows, "kind", t("list.kind"), (one) => signed("defect", one), { words: (row) => words.kind(rows[row].kind) }),
        column(rows, "grade", t("list.grade"), (one) => cells.grade(one.grade), { isNumber: true }),
        column(rows, "state", t("list.state"), (one) => words.state(one.state), { words: (row) => words.state(rows[row].state) }),
        column(rows, "measure_m", t("property.measure"), measured),
        column(rows, "reading", t("property.last_reading")),
        column(rows, "side", t("property.side"), (one) => words.side(one.side, one.side_probability)),
        column(rows, "first_seen", t("property.first"), (one) => kept(words.day(one.first_seen))),
        column(rows, "last_seen", t("property.last"), (one) => kept(words.day(one.last_seen))),
        column(rows, "times_seen", t("repeats.times"), null, { isNumber: true }),
        ...(rows.some((one) => one.is_repeat) ? [column(rows, "days_after_work", t("property.repeat"), came)] : []),
        ...(rows.some((one) => !words.missing(one.growth_low)) ? [column(rows, "growth_high", t("property.growth"), growth)] : []),
        column(rows, "issue", t("list.issue")),
        ...(rows.some((one) => one.dig) ? [column(rows, "dig", t("property.dig"), sheet)] : []),
        { key: "map", title: "", value: () => null, cell: (row) => cells.onMap({ lateral: all.lateral.lateral, issue: rows[row].issue }, rows[row].issue) },
      ],
    });
  }

  const picture = (one) => {
    if (!one.picture) return null;
    return one.picture_file ? made("a", { href: one.picture_file }, cells.text(one.picture)) : made("span", {}, cells.text(one.picture), made("span", { class: "hint" }, ` ${sewermap.t("property.not_here")}`));
  };

  function observations(host, all) {
    const { t } = sewermap, rows = all.observations, film = new Map(all.runs.map((run) => [run.run, run.film]));
    const has = (key) => rows.some((one) => !words.missing(one[key]));
    const place = (one) => measured(one) ?? made("strong", {}, t("property.unplaced"));
    const filmed = (one) => {
      if (!one.film_time) return null;
      const told = t("property.film_at", { film: film.get(one.run) || "", time: one.film_time });
      return one.film_link ? made("a", { href: one.film_link }, cells.text(told)) : told;
    };
    sewermap.table(host, {
      what: "observations",
      prefix: "o.",
      count: rows.length,
      empty: t("property.nothing_seen"),
      columns: [
        column(rows, "ran_on", t("quality.day"), (one) => kept(words.day(one.ran_on))),
        column(rows, "kind", t("list.kind"), (one) => signed(one.role, one), { words: (row) => words.kind(rows[row].kind) }),
        column(rows, "grade", t("list.grade"), (one) => (one.role === "defect" ? cells.grade(one.grade) : null), { isNumber: true }),
        column(rows, "measure_m", t("property.measure"), place),
        column(rows, "reading", t("property.reading"), (one) => words.reading(one.to_reading ? `${one.reading} – ${one.to_reading}` : one.reading, one.unit)),
        column(rows, "clock_from", t("property.clock"), (one) => words.clock(one.clock_from, one.clock_to)),
        ...(has("percent") ? [column(rows, "percent", t("property.percent"), (one) => (words.missing(one.percent) ? null : t("told.percent", { number: sewermap.number(one.percent) })), { isNumber: true })] : []),
        column(rows, "side", t("property.side"), (one) => (words.missing(one.measure_m) ? null : words.side(one.side))),
        column(rows, "issue", t("list.issue")),
        column(rows, "run", t("quality.run")),
        ...(has("reason") ? [column(rows, "reason", t("quality.reason"))] : []),
        ...(has("remark") ? [column(rows, "remark", t("quality.remark"))] : []),
        ...(has("picture") ? [column(rows, "picture", t("property.picture"), picture)] : []),
        ...(has("film_time") ? [column(rows, "film_time", t("property.film"), filmed)] : []),
      ],
    });
  }

  sewermap.propertyTables = { issues, observations, measured, signed };
})();
