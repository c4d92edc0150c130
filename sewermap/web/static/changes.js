// What changed since a day: counts by group, and the list.
"use strict";
(() => {
  const { t, tn, words, cells, url, about, number } = sewermap;
  const input = document.getElementById("since"), groups = document.getElementById("groups"), host = document.getElementById("rows");
  const until = words.dayNumber(about.as_of);

  /** A year before the day that the site tells of. */
  function usual() {
    const [year, month, day] = about.as_of.split("-").map(Number);
    // From 29 February the day before 1 March: 28 February.
    const last = new Date(Date.UTC(year - 1, month, 0)).getUTCDate();
    return `${year - 1}-${String(month).padStart(2, "0")}-${String(Math.min(day, last)).padStart(2, "0")}`;
  }

  const since = () => (words.dayNumber(url.get("since")) ? url.get("since") : usual());

  function counts(changes) {
    const chosen = url.get("group") || "";
    groups.replaceChildren(
      ...sewermap.changeGroups.map((name) => {
        const count = changes.filter((change) => change.group === name).length;
        const button = cells.made("button", { type: "button", "aria-pressed": String(chosen === name) }, cells.made("strong", {}, number(count)), ` ${t(`changes.${name}`)}`, cells.made("span", { class: "hint" }, t(`changes.${name}_means`)));
        button.dataset.group = name;
        button.addEventListener("click", () => {
          url.replace({ group: chosen === name ? null : name, page: null });
          groups.querySelector(`[data-group="${name}"]`).focus();
        });
        return button;
      }),
    );
  }

  function grades({ was, now }) {
    if (!was.grade || was.grade === now.grade) return cells.grade(now.grade);
    return t("changes.grade", { was: was.grade, now: now.grade });
  }

  function list(changes, names) {
    const { issues, laterals } = sewermap.city, { kinds, streets } = sewermap.town;
    const rows = changes.toSorted((a, b) => sewermap.changeGroups.indexOf(a.group) - sewermap.changeGroups.indexOf(b.group) || a.issue - b.issue);
    const kindName = (row) => kinds[issues.kind[rows[row].issue]], kind = (row) => words.kind(kindName(row));
    const lateral = (row) => names.lateral(issues.lateral[rows[row].issue]), issue = (row) => names.issue(rows[row].issue);
    const street = (row) => streets[laterals.street[issues.lateral[rows[row].issue]]];
    const place = (row) => sewermap.place(names.address(issues.lateral[rows[row].issue]), street(row));
    const what = (row) => t(`changes.${rows[row].group}`), state = (row) => words.state(rows[row].now.state);
    sewermap.table(host, {
      what: "changes",
      count: rows.length,
      empty: t("changes.empty"),
      columns: [
        { key: "what", title: t("changes.what"), value: (row) => sewermap.changeGroups.indexOf(rows[row].group), words: what, cell: what },
        { key: "place", title: t("list.place"), value: place, words: place },
        { key: "lateral", title: t("list.lateral"), value: lateral, words: lateral, cell: (row) => cells.lateral(lateral(row)) },
        { key: "kind", title: t("list.kind"), value: kind, words: kind, cell: (row) => cells.kind(kindName(row)) },
        { key: "grade", title: t("list.grade"), value: (row) => rows[row].now.grade || null, cell: (row) => grades(rows[row]), isNumber: true },
        { key: "was", title: t("changes.was"), value: (row) => (rows[row].was.state ? words.state(rows[row].was.state) : null) },
        { key: "state", title: t("changes.now"), value: state, words: state },
        { key: "day", title: t("changes.day"), value: (row) => rows[row].day, cell: (row) => words.day(rows[row].day), isNumber: false },
        { key: "issue", title: t("list.issue"), value: issue, words: issue },
        { key: "map", title: "", value: () => null, cell: (row) => cells.onMap({ lateral: lateral(row), issue: issue(row) }, issue(row)) },
      ],
      filters: [
        { key: "group", title: t("changes.what"), choices: [["", t("changes.every")], ...sewermap.changeGroups.map((name) => [name, t(`changes.${name}`)])], test: (row, choice) => rows[row].group === choice },
        sewermap.streetFilter(rows.map((_, row) => street(row))),
      ],
    });
  }

  sewermap.city.ready(() => sewermap.city.names((names) => sewermap.city.times((times) => {
    let told = null, changes = [];

    function update() {
      const day = since();
      if (document.activeElement !== input) input.value = day;
      if (told !== day) {
        changes = sewermap.changesSince(times, words.dayNumber(day), until);
        list(changes, names);
        document.getElementById("told").textContent = tn("changes.told", changes.length, { since: words.day(day), until: words.day(about.as_of) });
      }
      told = day;
      counts(changes);
    }

    input.max = about.as_of;
    input.addEventListener("change", () => input.value && url.replace({ since: input.value, page: null }));
    input.addEventListener("blur", () => { input.value = since(); });
    url.listen(update);
    update();
  })));
})();
