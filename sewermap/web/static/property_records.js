// The property page's records in order of time: pictures, films and runs, works, warranties, what may be claimed, dig sheets.
"use strict";
(() => {
  const { words, cells } = sewermap, { made, text } = cells;

  const stretch = (one) => {
    const { from_measure_m: from, to_measure_m: to } = one, { t } = sewermap;
    if (words.missing(from) && words.missing(to)) return t("strip.whole");
    if (words.missing(from) || words.missing(to) || from === to) return words.length(from ?? to);
    return t("strip.from_to", { from: words.length(from), to: words.length(to) });
  };

  /** A short table of records: columns [[title, tell(row)], …]; what is empty everywhere is left out. */
  function records(rows, columns, name) {
    const told = rows.map((row) => columns.map(([, tell]) => tell(row)));
    const isEmpty = (value) => value === null || value === undefined || value === "";
    const shown = columns.map(([title], at) => [title, at]).filter(([, at]) => told.some((row) => !isEmpty(row[at])));
    const head = made("tr", { role: "row" }, ...shown.map(([title]) => made("th", { scope: "col", role: "columnheader" }, made("span", { class: "plain-head" }, title))));
    const body = told.map((row) => made("tr", { role: "row" }, ...shown.map(([title, at]) => made("td", { role: "cell", "data-title": title, class: isEmpty(row[at]) ? "blank" : null }, isEmpty(row[at]) ? "–" : row[at] instanceof Node ? row[at] : text(row[at])))));
    return made("table", { class: "rows", role: "table", "aria-label": name }, made("thead", { role: "rowgroup" }, head), made("tbody", { role: "rowgroup" }, ...body));
  }

  function works(all) {
    const { t } = sewermap;
    return records(all.works, [
      [t("quality.day"), (one) => words.day(one.done_on)],
      [t("property.work"), (one) => words.work(one.kind)],
      [t("property.stretch"), stretch],
      [t("property.by"), (one) => one.by],
      [t("quality.remark"), (one) => one.remark],
      [t("property.name"), (one) => one.work],
    ], t("property.works"));
  }

  function runs(all) {
    const { t, tOr } = sewermap;
    return records(all.runs, [
      [t("quality.day"), (one) => words.day(one.ran_on)],
      [t("quality.run"), (one) => one.run],
      [t("property.reason"), (one) => (one.reason ? tOr(`reason.${one.reason}`, one.reason) : null)],
      [t("property.direction"), (one) => (one.direction === "to building" ? t("strip.to_building") : one.direction === "to main" ? t("strip.to_main") : null)],
      [t("property.launch"), (one) => one.launch],
      [t("property.covered"), (one) => (words.missing(one.from_measure_m) ? t("strip.nothing_covered") : stretch(one))],
      [t("property.end_reading"), (one) => words.reading(one.end_reading, one.unit)],
      [t("property.crew"), (one) => one.crew],
      [t("property.film"), (one) => one.film],
      [t("quality.remark"), (one) => one.remark],
      [t("quality.note"), (one) => one.notes],
    ], t("property.runs"));
  }

  function warranties(all) {
    const { t, tOr, tn, number } = sewermap;
    const left = (one) => (one.state === "checked" || words.missing(one.days_left) ? null : one.days_left < 0 ? tn("due.over", -one.days_left) : number(one.days_left));
    return records(all.due, [
      [t("due.state"), (one) => tOr(`due_state.${one.state}`, one.state)],
      [t("due.by"), (one) => words.day(one.check_by)],
      [t("due.left"), left],
      [t("property.runs_from"), (one) => words.day(one.begins_on)],
      [t("property.ends"), (one) => words.day(one.ends_on)],
      [t("property.stretch"), stretch],
      [t("due.to_look"), (one) => words.stretches(one.left_to_look)],
      [t("property.checked_on"), (one) => words.day(one.checked_on)],
      [t("due.answerable"), (one) => one.answerable],
      [t("property.for_work"), (one) => one.work],
      [t("quality.note"), (one) => one.note],
      [t("due.warranty"), (one) => one.warranty],
    ], t("property.warranties"));
  }

  function claims(all) {
    const { t } = sewermap;
    return records(all.claims, [
      [t("list.issue"), (one) => one.issue],
      [t("list.kind"), (one) => words.kind(one.kind)],
      [t("property.first"), (one) => words.day(one.first_seen)],
      [t("property.notice_by"), (one) => words.day(one.notice_by)],
      [t("due.left"), (one) => (words.missing(one.days_left) ? null : sewermap.number(one.days_left))],
      [t("quality.reason"), (one) => one.reason],
      [t("property.caution"), (one) => one.caution],
      [t("due.warranty"), (one) => one.warranty],
    ], t("property.claims"));
  }

  /** How large what was found is: a slope with the length in which it falls by one, water's depth, degrees, a distance. */
  function fallSize(what, value) {
    const { t, number } = sewermap;
    if (words.missing(value)) return null;
    if (what === "bends") return t("fall.degrees", { number: number(value, 0) });
    if (what !== "slope") return words.length(value);
    const slope = t("fall.slope", { number: number(value, 1) });
    return value > 0 ? `${slope} (1:${number(1000 / value, 0)})` : slope;
  }

  function falls(all) {
    const { t, tOr } = sewermap;
    return records(all.falls, [
      [t("fall.what"), (one) => tOr(`finding.${one.what}`, words.kind(one.what))],
      [t("property.stretch"), stretch],
      [t("fall.size"), (one) => fallSize(one.what, one.value)],
      [t("fall.limit"), (one) => fallSize(one.what, one.least_or_most)],
      [t("fall.verdict"), (one) => tOr(`finding.${one.verdict}`, one.verdict)],
      [t("fall.against"), (one) => one.against],
      [t("quality.note"), (one) => one.note],
    ], t("property.falls"));
  }

  function pictures(all) {
    const { t } = sewermap, list = made("ul", { class: "pictures" });
    for (const one of all.observations.filter((seen) => seen.picture)) {
      const where = [words.day(one.ran_on), words.kind(one.kind), words.missing(one.measure_m) ? t("property.unplaced") : words.length(one.measure_m, one.sigma_m)].join(", ");
      const shown = one.picture_file
        ? made("a", { href: one.picture_file }, made("img", { src: one.picture_small, alt: t("property.picture_of", { what: where }), loading: "lazy" }))
        : made("p", { class: "none" }, t("property.picture_missing"));
      const reading = one.reading ? made("span", {}, t("property.read_as"), " ", text(words.reading(one.reading, one.unit))) : null;
      list.append(made("li", {}, made("figure", {}, shown, made("figcaption", {}, made("strong", {}, cells.shortened(where)), " ", reading, one.remark ? made("span", { class: "remark" }, text(one.remark)) : null, made("span", { class: "hint" }, text(one.picture))))));
    }
    return list;
  }

  /** How to make the sheet of an issue that the folder has none for. */
  function sheets(all) {
    const { t } = sewermap, open = all.issues.filter((issue) => sewermap.propertyWords.isOpen(issue) && !words.missing(issue.measure_m)), without = open.filter((issue) => !issue.dig);
    const list = made("ul", {}, ...open.filter((issue) => issue.dig).map((issue) => made("li", {}, made("a", { href: issue.dig }, t("property.sheet_of", { issue: cells.shortened(issue.issue) })), ` – ${cells.shortened(words.kind(issue.kind))}`)));
    const quoted = (name) => `'${cells.shortened(name).replaceAll("'", "'\\''")}'`;
    if (without.length) list.append(made("li", {}, `${t("property.make_sheet")} `, made("code", {}, `sewermap digsheet ${quoted(without[0].issue)} -o sheet.html`)));
    return list;
  }

  /** Sections of the page, those without anything left out: [[key of the title, node], …]. */
  sewermap.propertyRecords = (all) => {
    const open = all.issues.some((issue) => sewermap.propertyWords.isOpen(issue) && !words.missing(issue.measure_m));
    return [
      ["property.claims", all.claims.length ? claims(all) : null],
      ["property.sheets", open ? sheets(all) : null],
      ["property.pictures", all.observations.some((seen) => seen.picture) ? pictures(all) : null],
      ["property.falls", all.falls.length ? made("div", {}, made("p", { class: "hint" }, sewermap.t("fall.who_decides")), falls(all)) : null],
      ["property.works", all.works.length ? works(all) : null],
      ["property.warranties", all.due.length ? warranties(all) : null],
      ["property.runs", all.runs.length ? runs(all) : null],
    ].filter(([, node]) => node !== null);
  };
  sewermap.records = records;
})();
