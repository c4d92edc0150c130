// What became of each issue since a day: new, worse, gone, returned. No page is touched here.
//
// sewermap.changesSince(times, since, until) -> [{issue, group, day, was, now}]
//   since, until: days since 1990; what was told on the day "since" itself was known before.
//   was, now: {state, grade}; the state is "" before anybody knew, the grade 0 where nobody gave one. day: of the last change.
//   Each issue has one group, by its last word until "until":
//   new       nobody knew of it on that day
//   gone      mended or not seen any more, and was told so since
//   returned  back after work, since
//   worse     told to be worse since, and not better after that
"use strict";
(() => {
  const GROUPS = ["new", "worse", "returned", "gone"];
  const GONE = new Set(["mended", "not seen"]);
  const UNKNOWN = { state: "", grade: 0 };

  /** What was told of an issue until a day, at the end of another, and each move between. */
  function told({ columns, firstDay, firstState }, issue, since, until) {
    const lateral = sewermap.city.issues.lateral[issue], from = firstDay[lateral], { states } = sewermap.town, moves = [];
    let was = UNKNOWN, now = UNKNOWN;
    for (let k = from; k < firstDay[lateral + 1] && columns.day[k] <= until; k += 1) {
      const word = columns.state[firstState[issue] + k - from];
      if (!word) continue;
      const next = { day: columns.day[k], state: states[(word & 15) - 1], grade: word >> 4 };
      if (next.day <= since) was = next;
      else if (next.state !== now.state || (next.state === "worse" && next.grade > now.grade)) moves.push(next);
      now = next;
    }
    return { was, now, moves };
  }

  /** The group of an issue that moved; null where it neither came, went nor got worse. */
  function group({ was, now, moves }) {
    if (!was.state) return "new";
    if (GONE.has(now.state)) return "gone";
    if (now.state === "returned") return "returned";
    const last = moves.findLast(({ state }) => state === "worse" || state === "better");
    return last && last.state === "worse" ? "worse" : null;
  }

  function changesSince(times, since, until) {
    const found = [];
    for (let issue = 0; issue < sewermap.city.issues.count; issue += 1) {
      const life = told(times, issue, since, until);
      const name = life.moves.length ? group(life) : null;
      if (name) found.push({ issue, group: name, day: life.moves.at(-1).day, was: life.was, now: life.now });
    }
    return found;
  }

  sewermap.changesSince = changesSince;
  sewermap.changeGroups = GROUPS;
})();
