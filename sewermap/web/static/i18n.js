// The page's words: data/words.js hands them over right after this script.
//
// sewermap.t(key, {name: value})        the text of a key, {name} filled in
// sewermap.tn(key, count, values)       the text of key.one or key.many, {count} filled in
// sewermap.about                        {language, units, as_of, public}
"use strict";
(() => {
  let texts = {}, plurals = null;
  const formats = new Map();

  /** A format of numbers with so many decimals (undefined: as many as there are), made once: making one is slow. */
  function numbers(places) {
    if (!formats.has(places)) {
      const options = places === undefined ? { maximumFractionDigits: 20 } : { minimumFractionDigits: places, maximumFractionDigits: places };
      formats.set(places, new Intl.NumberFormat(sewermap.about.language, options));
    }
    return formats.get(places);
  }

  function filled(text, values) {
    return text.replace(/\{(\w+)\}/g, (place, name) => (values && name in values ? String(values[name]) : place));
  }

  sewermap.wordsData = ({ words, ...about }) => {
    texts = words;
    sewermap.about = about;
    plurals = null;
    formats.clear();
  };

  sewermap.t = (key, values) => {
    if (!Object.hasOwn(texts, key)) throw new Error(`the language files have no words for ${key}`);
    return filled(texts[key], values);
  };

  sewermap.tn = (key, count, values) => {
    plurals ??= new Intl.PluralRules(sewermap.about.language);
    return sewermap.t(`${key}.${plurals.select(count) === "one" ? "one" : "many"}`, { ...values, count: numbers().format(count) });
  };

  /** The text of a key, or what is given where the languages have none: kinds, states and sides of a town's own. */
  sewermap.tOr = (key, otherwise) => (Object.hasOwn(texts, key) ? texts[key] : otherwise);

  /** A number as the language writes it; with places, so many of them. */
  sewermap.number = (value, places) => numbers(places).format(value);
})();
