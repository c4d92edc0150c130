// Rows of a list page: data/NAME.js hands them over, sewermap.list(name, then) gives them as soon as they are unpacked.
"use strict";
(() => {
  const waiting = [], given = new Map();

  /** then({list: {count, columns: {name: [value, …]}}}) for the data that a file of this name brought or will bring. */
  sewermap.list = (name, then) => {
    if (given.has(name)) then(given.get(name));
    else waiting.push([name, then]);
  };

  sewermap.listData = async (name, text) => {
    const lists = JSON.parse(await sewermap.unpackText(text));
    given.set(name, lists);
    for (const [asked, then] of waiting.splice(0)) {
      if (asked === name) then(lists);
      else waiting.push([asked, then]);
    }
  };

  /** Steps from number to number, the first from 0, as the numbers themselves. */
  sewermap.fromSteps = (steps) => {
    let sum = 0;
    return Uint32Array.from(steps, (step) => (sum += step));
  };
})();
