// What a strip shows, in order of time: a row a run and a row a work, and last what is known now. No drawing here.
//
// Rows: {type: "run" | "work" | "now", day, words, from, to, direction, marks}
// Marks: {measure, sigma, to, index (class of sign), crossBore, isGone, isFeature, issue, label, state, name}
"use strict";
(() => {
  const { words, stripScale } = sewermap;
  const TOLD = new Set(["new", "worse", "better", "returned"]);
  const SEPARATOR = " · ";

  const isBore = (kind) => kind === sewermap.symbols.CROSS_BORE;
  const joined = (...parts) => parts.filter(Boolean).join(SEPARATOR);

  /** What runs along the line is drawn from its end nearer to the tie-in, whichever way the camera went. */
  function ends(one) {
    const { measure_m: from, to_measure_m: to } = one;
    return words.missing(to) ? { measure: from, to: null } : { measure: Math.min(from, to), to: Math.max(from, to) };
  }

  function place(mark) {
    const { t } = sewermap;
    if (words.missing(mark.to)) return t("strip.at", { at: words.length(mark.measure, mark.sigma) });
    return t("strip.from_to", { from: words.length(mark.measure, mark.sigma), to: words.length(mark.to) });
  }

  function seenMark(seen, event) {
    const { t } = sewermap, kind = words.kind(seen.kind), state = event && TOLD.has(event.state) ? event.state : "";
    const isFeature = seen.role !== "defect";
    const mark = {
      ...ends(seen), sigma: seen.sigma_m, issue: seen.issue, isFeature, state, kind,
      index: sewermap.signs.classOf(seen.role, seen.grade), crossBore: isBore(seen.kind), isGone: false,
      label: stripScale.cut(kind, 24),
    };
    mark.stateWords = state ? words.state(state) : "";
    mark.name = joined(t("strip.run_name", { run: stripScale.cut(seen.run), day: words.day(seen.ran_on) }), kind, isFeature ? "" : words.grade(seen.grade), place(mark),
      seen.reading ? t("strip.reading", { reading: words.reading(seen.reading, seen.unit) }) : "", words.side(seen.side, seen.side_probability), event ? words.state(event.state) : "");
    return mark;
  }

  function goneMark(issue, run, event) {
    const { t } = sewermap, kind = words.kind(issue.kind);
    const mark = { measure: ends(issue).measure, sigma: null, to: null, issue: issue.issue, isFeature: false, index: 2, crossBore: false, isGone: true, label: stripScale.cut(kind, 24), kind };
    mark.state = event.state;
    mark.stateWords = t("strip.gone");
    mark.name = joined(t("strip.run_name", { run: stripScale.cut(run.run), day: words.day(run.ran_on) }), t("strip.gone_name", { kind }), place(mark), words.state(event.state));
    return mark;
  }

  function nowMark(issue) {
    const { t } = sewermap, kind = words.kind(issue.kind), isGone = issue.state === "mended" || issue.state === "not seen";
    const mark = {
      ...ends(issue), sigma: issue.sigma_m, issue: issue.issue, isFeature: false, isGone, kind,
      index: sewermap.signs.classOf("defect", issue.grade), crossBore: isBore(issue.kind), label: stripScale.cut(kind, 24), state: issue.state, stateWords: words.state(issue.state),
    };
    mark.name = joined(t("strip.now"), stripScale.cut(issue.issue), kind, words.grade(issue.grade), place(mark), words.side(issue.side, issue.side_probability), words.state(issue.state));
    return mark;
  }

  function runRow(run, all, missed) {
    const { t, tOr } = sewermap, events = new Map(all.events.filter((event) => event.run === run.run).map((event) => [event.issue, event]));
    const seen = all.observations.filter((one) => one.run === run.run && !words.missing(one.measure_m));
    const gone = missed.filter(({ event }) => event.run === run.run).map(({ issue, event }) => goneMark(issue, run, event));
    const direction = run.direction === "to building" ? 1 : run.direction === "to main" ? -1 : 0;
    return {
      type: "run", day: run.ran_on, turn: run.reason === "work" ? 2 : 0, run: run.run, from: run.from_measure_m, to: run.to_measure_m, direction,
      words: joined(words.day(run.ran_on), t("strip.run", { run: stripScale.cut(run.run) }), direction ? t(direction > 0 ? "strip.to_building" : "strip.to_main") : "",
        run.reason ? tOr(`reason.${run.reason}`, stripScale.cut(run.reason)) : "", stripScale.cut(run.crew), words.missing(run.from_measure_m) ? t("strip.nothing_covered") : ""),
      marks: [...seen.map((one) => seenMark(one, events.get(one.issue))), ...gone],
    };
  }

  function workRow(work, lengthM) {
    const { t } = sewermap, { from_measure_m: from, to_measure_m: to } = work, isWhole = words.missing(from) && words.missing(to);
    const low = isWhole ? 0 : from ?? to, high = isWhole ? lengthM : to ?? from;
    const where = isWhole ? t("strip.whole") : low === high ? t("strip.at", { at: words.short(low) }) : t("strip.stretch", { from: words.short(low), to: words.short(high) });
    return { type: "work", day: work.done_on, turn: 1, work: work.work, from: low, to: high, marks: [], words: joined(words.day(work.done_on), t("strip.work", { kind: words.work(stripScale.cut(work.kind)), work: stripScale.cut(work.work) }), where, stripScale.cut(work.by)) };
  }

  /** The rows of a lateral, the oldest first. */
  sewermap.stripRows = (all) => {
    const { t } = sewermap, issues = new Map(all.issues.map((issue) => [issue.issue, issue]));
    const known = new Map(all.issues.map((issue) => [issue.issue, issue.first_seen || ""]));
    const missed = all.events.filter((event) => event.run && event.verdict === "not seen" && issues.has(event.issue) && (event.day || "") >= known.get(event.issue))
      .map((event) => ({ event, issue: issues.get(event.issue) })).filter(({ issue }) => !words.missing(issue.measure_m));
    const rows = [...all.runs.map((run) => runRow(run, all, missed)), ...all.works.map((work) => workRow(work, all.lateral.length_m))];
    rows.sort((a, b) => ((a.day || "") < (b.day || "") ? -1 : (a.day || "") > (b.day || "") ? 1 : a.turn - b.turn));
    const now = all.issues.filter((issue) => !words.missing(issue.measure_m)).map(nowMark);
    if (now.length) rows.push({ type: "now", day: "", words: t("strip.now_row"), marks: now, from: null, to: null, direction: 0 });
    return rows;
  };
})();
