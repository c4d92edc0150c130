// What the address bar asks the town map for, and what of the city that lets through.
//
// sewermap.wanted.read()             {street, kind, grade, side, state, since, until, repeats, due, colour, day, at, issue, lateral}
// sewermap.wanted.apply(look, wanted, then)   fills look's flags and what is in force; then(counts) when that is done
"use strict";
(() => {
  const COLOURS = ["grade", "scoped", "due", "repeat"];
  const FILTERS = ["street", "kind", "grade", "side", "state", "since", "until", "repeats", "due"];
  const OPEN = "", ALL = "all", MENDED = "mended";
  const AT = /^(-?\d+(?:\.\d+)?),(-?\d+(?:\.\d+)?),(\d+(?:\.\d+)?)$/;
  let turn = 0;

  const among = (list, value, otherwise) => (list.includes(value) ? value : otherwise);
  const whole = (text, most) => (/^\d{1,5}$/.test(text ?? "") ? Math.min(Number(text), most) : null);
  const dayOf = (text) => (/^\d{4}-\d\d-\d\d$/.test(text ?? "") ? sewermap.words.dayNumber(text) : 0);

  /** The address bar's wishes; what it says of things that are not here is left out. */
  function read() {
    const { get } = sewermap.url, { town } = sewermap, at = AT.exec(get("at") ?? "");
    const grade = whole(get("grade"), 5), asOf = dayOf(town.as_of), day = dayOf(get("day"));
    return {
      street: town.streets.indexOf(get("street") || null),
      kind: town.kinds.indexOf(get("kind")),
      grade: grade >= 1 ? grade : 0,
      side: town.sides.indexOf(get("side")),
      state: among([ALL, ...town.states], get("state"), OPEN),
      since: dayOf(get("since")),
      until: dayOf(get("until")),
      repeats: get("repeats") === "1",
      due: whole(get("due"), 36500),
      colour: among(COLOURS, get("colour"), "grade"),
      day: day && day < asOf ? day : 0,
      at: at && { lat: Number(at[1]), lng: Number(at[2]), zoom: Number(at[3]) },
      issue: get("issue"),
      lateral: get("lateral"),
    };
  }

  /** Which issues the address asks for; the state that a user did not choose hides mended ones and nothing else. */
  function issueTest(wanted, look, details) {
    const { issues } = sewermap.city, mended = sewermap.town.states.indexOf(MENDED), state = look.state || issues.state, grade = look.grade || issues.grade;
    const tests = [];
    if (![OPEN, ALL].includes(wanted.state)) {
      const code = sewermap.town.states.indexOf(wanted.state);
      tests.push((i) => state[i] === code);
    }
    if (wanted.kind >= 0) tests.push((i) => issues.kind[i] === wanted.kind);
    if (wanted.side >= 0) tests.push((i) => issues.side[i] === wanted.side);
    if (wanted.since || wanted.until) {
      const last = details ? (i) => details.last(i, wanted.day) : (i) => issues.last[i], until = wanted.until || 65535;
      tests.push((i) => last(i) >= wanted.since && last(i) <= until);
    }
    if (wanted.repeats) tests.push(details ? (i) => details.isRepeat(i, wanted.day) : (i) => issues.flags[i] & sewermap.city.REPEAT);
    return {
      passes: tests.length ? (i) => tests.every((test) => test(i)) : () => true,
      grade,
      state,
      left: wanted.state === OPEN ? mended : -1, // the state that is left out
    };
  }

  function lateralTest(wanted, details) {
    const { laterals } = sewermap.city, soon = sewermap.words.dayNumber(sewermap.town.as_of) + wanted.due;
    return (row) => (wanted.street < 0 || laterals.street[row] === wanted.street) &&
      (wanted.due === null || (details.asksOn[row] > 0 && details.asksOn[row] <= soon));
  }

  /** Does the address ask for some issues alone, so that only laterals that have one are shown? */
  function asksForIssues(wanted) {
    return wanted.kind >= 0 || wanted.grade > 0 || wanted.side >= 0 || ![OPEN, ALL].includes(wanted.state) || wanted.since > 0 || wanted.until > 0 || wanted.repeats;
  }

  /** Fill the flags. Counts: what is shown of what, mended ones that nobody asked to leave out, ungraded ones that a grade does, shown ones without a place. */
  function fill(look, wanted, details) {
    const { laterals, issues, UNPLACED } = sewermap.city, test = issueTest(wanted, look, details), here = lateralTest(wanted, details);
    const some = asksForIssues(wanted), counts = { issues: 0, issuesOf: 0, laterals: 0, lateralsOf: laterals.count, mended: 0, ungraded: 0, unplaced: 0 };
    look.issues.fill(0);
    look.laterals.fill(0);
    for (let row = 0; row < laterals.count; row += 1) {
      const passes = here(row);
      let any = 0;
      for (let i = laterals.first_issue[row]; i < laterals.first_issue[row + 1]; i += 1) {
        if (look.known && !look.known[i]) continue;
        counts.issuesOf += 1;
        if (!passes || !test.passes(i)) continue;
        const bad = test.grade[i] >= wanted.grade, over = test.state[i] === test.left;
        if (!bad && !over && !test.grade[i]) counts.ungraded += 1;
        if (bad && over) counts.mended += 1;
        if (!bad || over) continue;
        look.issues[i] = any = 1;
        counts.issues += 1;
        if (issues.flags[i] & UNPLACED) counts.unplaced += 1;
      }
      look.laterals[row] = passes && (any || !some) ? 1 : 0;
      counts.laterals += look.laterals[row];
    }
    return counts;
  }

  /** By lateral, how many of its issues had come back until a day. */
  function repeatsUntil(day, known, details) {
    const { laterals, issues } = sewermap.city, repeats = new Uint8Array(laterals.count);
    for (let i = 0; i < issues.count; i += 1) if (known[i] && details.isRepeat(i, day) && repeats[issues.lateral[i]] < 255) repeats[issues.lateral[i]] += 1;
    return repeats;
  }

  function apply(look, wanted, then) {
    turn += 1;
    const mine = turn;
    const finish = (details, told) => {
      if (mine !== turn) return; // somebody has asked for something else meanwhile
      look.colour = wanted.colour;
      look.day = wanted.day;
      look.known = told && told.known;
      for (const name of ["state", "grade", "lateralGrade", "scoped"]) look[name] = told ? told[name] : null;
      look.repeats = told ? repeatsUntil(wanted.day, told.known, details) : null;
      then(fill(look, wanted, details));
    };
    if (wanted.day) sewermap.city.times((times) => sewermap.details((details) => finish(details, times.at(wanted.day))));
    else if (wanted.due !== null) sewermap.details((details) => finish(details, null));
    else finish(null, null);
  }

  /** The part of the address that decides what is drawn. */
  const key = (wanted) => JSON.stringify([...FILTERS, "colour", "day"].map((name) => wanted[name]));
  /** Does the address filter anything? */
  const filters = () => FILTERS.some((name) => sewermap.url.get(name) !== null);

  sewermap.wanted = { read, apply, key, filters, FILTERS, COLOURS, OPEN, ALL };
})();
