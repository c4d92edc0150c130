// Names, addresses, and what was known on a day: files that are loaded when somebody first needs them.
"use strict";
(() => {
  const SIGNS = { s: "street", l: "lateral" };
  const RUN = 1;

  /** A loader of one file that is read once: call(then) gives its content, now or as soon as it is here. */
  function once(file) {
    const waiting = [];
    let content = null, asked = false;
    return {
      ask(then) {
        if (content) return then(content);
        waiting.push(then);
        if (asked) return undefined;
        asked = true;
        const script = document.createElement("script");
        script.src = file;
        script.addEventListener("load", () => script.remove());
        document.head.append(script);
        return undefined;
      },
      give(made) {
        content = made;
        for (const then of waiting.splice(0)) then(content);
      },
    };
  }

  /** A text as it was: what a backslash stands for put in again. */
  function whole(text, parts) {
    if (!text.includes("\\")) return text;
    return text.replace(/\\(.)/g, (_, sign) => (sign === "n" ? "\n" : sign === "\\" ? "\\" : parts[SIGNS[sign]]));
  }

  sewermap.once = once;

  const names = once("data/names.js"), times = once("data/times.js");

  /** The lines of a text by number, told apart when the first is asked for. */
  function lines(text) {
    let told = null;
    return (row) => (told ??= text.split("\n"))[row];
  }

  sewermap.namesData = async (packed) => {
    const [laterals, addresses, issues] = (await Promise.all(packed.map(sewermap.unpackText))).map(lines);
    sewermap.city.ready((city) => {
      const street = (row) => sewermap.town.streets[city.laterals.street[row]];
      const lateral = (row) => whole(laterals(row), {});
      names.give({
        lateral,
        address: (row) => whole(addresses(row), { street: street(row) }),
        issue: (row) => whole(issues(row), { lateral: lateral(city.issues.lateral[row]) }),
      });
    });
  };

  /** The states of all issues and laterals at the end of a day. */
  function at(day, columns, firstDay, firstState) {
    const { laterals, issues } = sewermap.city;
    const told = { known: new Uint8Array(issues.count), state: new Uint8Array(issues.count), grade: new Uint8Array(issues.count) };
    told.scoped = new Uint16Array(laterals.count);
    told.lateralGrade = new Uint8Array(laterals.count);
    const mended = sewermap.town.states.indexOf("mended");
    for (let lateral = 0; lateral < laterals.count; lateral += 1) {
      let days = 0;
      for (let k = firstDay[lateral]; k < firstDay[lateral + 1] && columns.day[k] <= day; k += 1) {
        days += 1;
        if (columns.looked[k] === RUN) told.scoped[lateral] = columns.day[k];
      }
      for (let issue = laterals.first_issue[lateral]; days && issue < laterals.first_issue[lateral + 1]; issue += 1) {
        const word = columns.state[firstState[issue] + days - 1];
        if (!word) continue;
        told.known[issue] = 1;
        told.state[issue] = (word & 15) - 1;
        told.grade[issue] = word >> 4;
        const counts = told.state[issue] === mended ? 1 : told.grade[issue];
        if (counts > told.lateralGrade[lateral]) told.lateralGrade[lateral] = counts;
      }
    }
    return told;
  }

  sewermap.timesData = async (packed) => {
    const columns = await sewermap.unpack(packed);
    sewermap.city.ready(({ issues }) => {
      const firstDay = sewermap.shapes.starts(columns.days);
      const firstState = sewermap.shapes.starts(issues.lateral.map((lateral) => columns.days[lateral]));
      const first = columns.day.reduce((least, day) => Math.min(least, day), Infinity);
      times.give({ first, at: (day) => at(day, columns, firstDay, firstState), columns, firstDay, firstState });
    });
  };

  /** names(then): then({lateral(row), address(row), issue(row)}). */
  sewermap.city.names = names.ask;
  /** times(then): then({first: day, at(day)}); at gives known, state, grade by issue and scoped, lateralGrade by lateral. */
  sewermap.city.times = times.ask;
})();
