// What the list and the cards say of issues beyond their place: data/details.js, loaded when first needed.
//
// sewermap.details(then)   then({measure(issue), to(issue), sigma(issue), last(issue, day), isRepeat(issue, day), asksOn})
// Lengths are metres (null: not known), days are counted from 1990-01-01; without a day they tell of today.
"use strict";
(() => {
  const MM = 1000;
  const details = sewermap.once("data/details.js");

  /** The day an issue was last seen on until a day. */
  function lastUntil(issues, from, columns) {
    return (issue, day) => {
      if (!day || issues.last[issue] <= day) return issues.last[issue];
      for (let k = from[issue + 1] - 1; k >= from[issue]; k -= 1) if (columns.seen_day[k] <= day) return columns.seen_day[k];
      return issues.first[issue];
    };
  }

  sewermap.detailsData = async (packed) => {
    const columns = await sewermap.unpack(packed);
    sewermap.city.ready(({ issues, REPEAT }) => {
      const long = new Map(Array.from(columns.long_issue, (issue, i) => [issue, columns.long_to[i] / MM]));
      const back = new Uint16Array(issues.count);
      let repeat = 0;
      for (let issue = 0; issue < issues.count; issue += 1) if (issues.flags[issue] & REPEAT) back[issue] = columns.came_back[repeat++];
      details.give({
        measure: (issue) => (columns.measure[issue] ? (columns.measure[issue] - 1) / MM : null),
        millimetres: columns.measure, // one more than they are, 0 for none
        sigma: (issue) => (columns.measure[issue] ? columns.sigma[issue] / MM : null),
        to: (issue) => long.get(issue) ?? null,
        last: lastUntil(issues, sewermap.shapes.starts(columns.again), columns),
        isRepeat: (issue, day) => (issues.flags[issue] & REPEAT) > 0 && (!day || back[issue] <= day),
        asksOn: columns.asks_on,
      });
    });
  };

  sewermap.details = details.ask;
})();
