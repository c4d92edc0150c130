// What the property page says in sentences: the state of the line, who owns which part, the facts.
"use strict";
(() => {
  const { words, cells: { made, text } } = sewermap;
  const OPEN = (issue) => issue.state !== "mended";

  /** Rows of name and value; what is not known is left out. */
  function facts(pairs) {
    const list = made("dl", { class: "facts" });
    for (const [name, value] of pairs) {
      if (value === null || value === undefined || value === "") continue;
      list.append(made("div", {}, made("dt", {}, name), made("dd", {}, value instanceof Node ? value : text(value))));
    }
    return list;
  }

  /** The orders and the one line that a person reads first. */
  function summary(all) {
    const { t, tn } = sewermap, { lateral, issues } = all, host = made("div", {});
    const bores = issues.filter((issue) => issue.kind === sewermap.symbols.CROSS_BORE && OPEN(issue));
    if (bores.length) {
      const places = bores.map((issue) => (words.missing(issue.measure_m) ? t("property.unplaced") : words.length(issue.measure_m, issue.sigma_m))).join("; ");
      host.append(made("p", { class: "stop bore", role: "alert" }, made("strong", {}, t("caution.bore.lead")), " ", t("caution.bore"), " ", t("property.bore_at", { places })));
    }
    const open = issues.filter(OPEN), repeats = issues.filter((issue) => issue.is_repeat).length;
    const worst = lateral.grade ? sewermap.signs.picture(sewermap.signs.classOf("defect", lateral.grade)) : null;
    const scoped = lateral.last_run_on ? t("property.last_look", { day: words.day(lateral.last_run_on) }) : t("property.never");
    const share = words.missing(lateral.scoped_m) || words.missing(lateral.length_m) || !lateral.runs ? "" : t("property.looked", { looked: words.length(lateral.scoped_m), length: words.length(lateral.length_m) });
    host.append(made("p", { class: "state" }, worst, made("strong", {}, lateral.grade ? t("property.worst", { grade: lateral.grade }) : t("property.no_grade")), ` ${tn("property.open", open.length)} ${repeats ? `${tn("property.repeats", repeats)} ` : ""}${scoped} ${share}`));
    if (lateral.grade_why) host.append(made("p", { class: "hint" }, t("property.why"), " ", text(lateral.grade_why)));
    return host;
  }

  function owns(lateral) {
    const { t } = sewermap, ends = sewermap.stripLine.boundary(lateral), host = made("div", {});
    const add = (line) => host.append(made("p", {}, line));
    if (!ends) add(t("property.owns_unknown"));
    else if (lateral.private_ends_at === "tie-in") add(t("property.owns_all_private"));
    else if (lateral.private_ends_at === "building") add(t("property.owns_all_public"));
    else {
      const at = words.length(ends.measure, ends.sigma);
      add(t("property.owns_public", { at, what: ends.at }));
      add(t("property.owns_private", { at }));
    }
    if (lateral.property_line_from) host.append(made("p", { class: "hint" }, t("property.line_from"), " ", text(lateral.property_line_from)));
    if (lateral.property_line_note) host.append(made("p", { class: "hint" }, text(lateral.property_line_note)));
    return host;
  }

  function ofLateral(lateral) {
    const { t } = sewermap;
    const accuracy = words.missing(lateral.map_accuracy_m) ? "" : t(lateral.accuracy_assumed ? "property.accuracy_assumed" : "property.accuracy", { accuracy: words.length(lateral.map_accuracy_m) });
    return facts([
      [t("list.lateral"), lateral.lateral],
      [t("property.parcel"), lateral.property],
      [t("property.material"), lateral.material],
      [t("property.diameter"), lateral.diameter],
      [t("property.installed"), words.day(lateral.installed_on)],
      [t("property.length"), words.length(lateral.length_m)],
      [t("property.tie_in_depth"), words.length(lateral.tie_in_depth_m)],
      [t("property.building_depth"), words.length(lateral.building_depth_m)],
      [t("property.map_accuracy"), accuracy],
      [t("property.drawn"), [lateral.method ? sewermap.tOr(`method.${lateral.method}`, lateral.method) : "", text(lateral.line_note || "")].filter(Boolean).join("; ")],
    ]);
  }

  sewermap.propertyWords = { facts, summary, owns, ofLateral, isOpen: OPEN };
})();
