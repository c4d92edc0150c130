// All that is known of a street's laterals: data/street-N.js hands it over when a page first asks for it.
//
// sewermap.street(number, then)      then(street), now or when the file is here; street: {count, table(name), of(lateral)}
//   street.rows("laterals")          the rows of a table as objects
//   street.lateral(name)             the number of a lateral in the street, -1 where it is not of it
//   street.of(number)                {lateral: {…}, issues: [{…}], runs, observations, sightings, events, works, referents, falls, due, claims}
"use strict";
(() => {
  const given = new Map(), waiting = new Map();

  function read(number, tables) {
    const rows = (name, from = 0, until = tables[name].of.length) => {
      const { of, ...columns } = tables[name], keys = Object.keys(columns), made = [];
      for (let row = from; row < until; row += 1) made.push(Object.fromEntries([["of", of[row]], ...keys.map((key) => [key, columns[key][row]])]));
      return made;
    };
    /** Rows of one lateral stand together. */
    const ofLateral = (name, lateral) => {
      const { of } = tables[name];
      const from = of.indexOf(lateral);
      return from < 0 ? [] : rows(name, from, of.lastIndexOf(lateral) + 1);
    };
    return {
      number,
      rows: (name) => rows(name),
      lateral: (name) => tables.laterals.lateral.indexOf(name),
      of(lateral) {
        const { laterals: _laterals, ...others } = tables;
        return { lateral: rows("laterals", lateral, lateral + 1)[0], ...Object.fromEntries(Object.keys(others).map((name) => [name, ofLateral(name, lateral)])) };
      },
    };
  }

  sewermap.streetData = async (number, text) => {
    const street = read(number, JSON.parse(await sewermap.unpackText(text)));
    given.set(number, street);
    for (const then of waiting.get(number) || []) then(street);
    waiting.delete(number);
  };

  sewermap.street = (number, then) => {
    if (given.has(number)) return then(given.get(number));
    if (waiting.has(number)) return waiting.get(number).push(then);
    waiting.set(number, [then]);
    const script = document.createElement("script");
    script.src = `data/street-${number}.js`;
    script.addEventListener("load", () => script.remove());
    document.head.append(script);
    return undefined;
  };
})();
