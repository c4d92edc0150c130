// Finds observations by what a person types: an address, a street, a lateral, a run, a kind.
"use strict";
(() => {
  /** Words and numbers of a text, in small letters, with a blank around each; 007 is 7. */
  function plain(text) {
    const parts = text.toLowerCase().match(/\p{L}+|\d+/gu) || [];
    return parts.map((part) => part.replace(/^0+(?=\d)/, ""));
  }

  /** What must stand in a text for one word of it: a word's beginning, but a number whole (2 is not 22). */
  function wanted(word) {
    return /\d/.test(word) ? ` ${word} ` : ` ${word}`;
  }

  /** A function from what was typed to a function that says whether a row is meant. */
  function finder(seen) {
    const fields = [seen.address, seen.street, seen.lateral, seen.property, seen.run, seen.kind, seen.issue];
    let texts = null;
    const text = (row) => {
      // Made once, when somebody first looks for something. A bar keeps a phrase within its field.
      texts ??= Array.from({ length: seen.count }, (_, i) => fields.map((field) => ` ${plain(field(i)).join(" ")} `).join("|"));
      return texts[row];
    };
    return (typed) => {
      const words = plain(typed);
      if (!words.length) return () => true;
      const phrase = ` ${words.slice(0, -1).map((word) => `${word} `).join("")}${wanted(words[words.length - 1]).slice(1)}`;
      // As it was typed, if any row has it so; else all its words in any order.
      if (seen.placed.some((row) => text(row).includes(phrase))) return (row) => text(row).includes(phrase);
      return (row) => words.every((word) => text(row).includes(wanted(word)));
    };
  }

  sewermap.finding = { finder };
})();
