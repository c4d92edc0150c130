// Which rows of a table are shown, in which order: found words, choices, sorting. No page is touched here.
//
// sewermap.tableRows({count, columns, filters}) -> {rows({find, choices, sort}) -> Uint32Array of row numbers}
//   columns: {key: {value(row), words(row)?}}   value: number, text or null; words: text that a search looks through
//   filters: {key: test(row, choice)}
"use strict";
(() => {
  const MISSING = 0xffffffff;

  /** By row a number that sorts as the values do; texts as a person orders them (2 before 10). What is missing is MISSING. */
  function ranks(count, value) {
    const values = Array.from({ length: count }, (_, row) => value(row));
    const different = [...new Set(values)].filter((one) => !sewermap.words.missing(one));
    const collator = new Intl.Collator(sewermap.about.language, { numeric: true, sensitivity: "variant" });
    // Code points settle what a language holds for equal.
    const order = (a, b) => (typeof a === "number" ? a - b : collator.compare(a, b) || (a < b ? -1 : 1));
    const rank = new Map(different.sort(order).map((one, at) => [one, at]));
    return Uint32Array.from(values, (one) => rank.get(one) ?? MISSING);
  }

  function tableRows({ count, columns, filters = {} }) {
    const kept = new Map();
    let searched = null;

    function rankOf(key) {
      if (!kept.has(key)) kept.set(key, ranks(count, columns[key].value));
      return kept.get(key);
    }

    function textOf(row) {
      searched ??= new Array(count);
      searched[row] ??= folded(Object.values(columns).filter((column) => column.words).map((column) => column.words(row) || "").join("\n"));
      return searched[row];
    }

    function rows({ find = "", choices = {}, sort = null }) {
      const words = folded(find).split(/\s+/).filter(Boolean);
      const tests = Object.entries(choices).filter(([, choice]) => choice).map(([key, choice]) => (row) => filters[key](row, choice));
      const found = [];
      for (let row = 0; row < count; row += 1) {
        if (tests.every((test) => test(row)) && words.every((word) => textOf(row).includes(word))) found.push(row);
      }
      return sorted(Uint32Array.from(found), sort);
    }

    /** Sorted by one column; rows that are equal there keep their order, what is missing comes last either way. */
    function sorted(found, sort) {
      if (!sort || !Object.hasOwn(columns, sort.key)) return found;
      const rank = rankOf(sort.key), way = sort.down ? -1 : 1;
      return found.sort((a, b) => {
        if (rank[a] === rank[b]) return a - b;
        if (rank[a] === MISSING || rank[b] === MISSING) return rank[a] - rank[b];
        return way * (rank[a] - rank[b]);
      });
    }

    return { rows };
  }

  /** Small letters without accents, so that "ecole" finds "École". */
  function folded(text) {
    return String(text).normalize("NFD").replace(/\p{M}/gu, "").toLowerCase();
  }

  sewermap.tableRows = tableRows;
})();
