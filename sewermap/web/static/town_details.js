// What the list and the cards say of issues beyond their place: data/details.js, loaded when first needed.
//
// sewermap.details(then)   then({measure(issue), to(issue), sigma(issue), last(issue, day), isRepeat(issue, day), asksOn})
// Lengths are metres (null: not known), days are counted from 1990-01-01; without a day they tell of today.
"use strict";
(() => {
  const MM = 1000;
  const details = sewermap.once("data/details.js");

  /** By issue the day on which one with the flag of a repeat had come back. */
  function comeBack(issues, REPEAT, days) {
    const back = new Uint16Array(issues.count);
    let repeat = 0;
    for (let issue = 0; issue < issues.count; issue += 1) if (issues.flags[issue] & REPEAT) back[issue] = days[repeat++];
    return back;
  }

  /** The day before its last that an issue was last seen on until a day. */
  function lastUntil(issues, from, columns) {
    return (issue, day) => {
      for (let k = from[issue + 1] - 1; k >= from[issue]; k -= 1) if (columns.seen_day[k] <= day) return columns.seen_day[k];
      return issues.first[issue];
    };
  }

  sewermap.detailsData = async (packed) => {
    const columns = await sewermap.unpack(packed);
    sewermap.city.ready(({ issues, REPEAT }) => {
      // What no list needs at first is put together when somebody asks for it.
      const rare = sewermap.lazily({}, {
        long: () => new Map(Array.from(columns.long_issue, (issue, i) => [issue, columns.long_to[i] / MM])),
        back: () => comeBack(issues, REPEAT, columns.came_back),
        last: () => lastUntil(issues, sewermap.shapes.starts(columns.again), columns),
      });
      details.give({
        measure: (issue) => (columns.measure[issue] ? (columns.measure[issue] - 1) / MM : null),
        get millimetres() { return columns.measure; }, // one more than they are, 0 for none
        sigma: (issue) => (columns.measure[issue] ? columns.sigma[issue] / MM : null),
        to: (issue) => rare.long.get(issue) ?? null,
        last: (issue, day) => (!day || issues.last[issue] <= day ? issues.last[issue] : rare.last(issue, day)),
        isRepeat: (issue, day) => (issues.flags[issue] & REPEAT) > 0 && (!day || rare.back[issue] <= day),
        get asksOn() { return columns.asks_on; },
      });
    });
  };

  sewermap.details = details.ask;
})();
