// One observation as a row of a list: its sign, what it is, and where it was written.
"use strict";
(() => {
  function line(className, text) {
    const span = document.createElement("span");
    span.className = className;
    span.textContent = text;
    return span;
  }

  function what(seen, row) {
    const grade = seen.role(row) === "defect" ? `, ${sewermap.words.grade(seen.grade[row])}` : "";
    return sewermap.words.title(seen.kind(row) || "(no kind)") + grade;
  }

  function written(seen, row) {
    const reading = sewermap.words.reading(seen.reading(row), seen.unit(row));
    return [reading ? `reading ${reading}` : "no reading", seen.run(row) && `run ${seen.run(row)}`, seen.ran_on(row)].filter(Boolean);
  }

  /** Its pieces break between lines, not within: a day stays whole. */
  function writtenLine(seen, row) {
    const all = line("written", "");
    written(seen, row).forEach((text, i, texts) => all.append(line("piece", text + (i < texts.length - 1 ? "," : "")), " "));
    return all;
  }

  /** The house and the lateral of a row, as a person says them. */
  function place(seen, row) {
    const house = seen.address(row) || seen.street(row), lateral = seen.lateral(row);
    return [house, lateral ? `lateral ${lateral}` : "lateral unknown"].filter(Boolean).join(" · ");
  }

  function source(seen, row) {
    const at = seen.source_row[row] === null ? "" : `, row ${seen.source_row[row]}`;
    return seen.source_file(row) ? seen.source_file(row) + at : "";
  }

  /** A list item; pick(row) is called when it is chosen (without pick it is text only). */
  function item(seen, row, more, pick) {
    const entry = document.createElement("li"), body = document.createElement(pick ? "button" : "div");
    const crossBore = seen.kind(row) === sewermap.symbols.CROSS_BORE, words = document.createElement("span");
    body.className = "row";
    words.className = "row-words";
    words.append(line("what", what(seen, row)), writtenLine(seen, row));
    if (crossBore) words.append(line("stop", "Stop: no cutting, no jetting, call the gas utility"));
    for (const text of more) if (text) words.append(line("more", text));
    body.append(sewermap.symbols.picture(seen.sign[row], crossBore), words);
    if (pick) {
      body.type = "button";
      body.addEventListener("click", () => pick(row));
    }
    entry.append(body);
    return entry;
  }

  function button(text, clicked) {
    const element = document.createElement("button");
    element.type = "button";
    element.className = "more-rows";
    element.textContent = text;
    element.addEventListener("click", clicked);
    return element;
  }

  sewermap.rows = { item, button, line, place, source };
})();
