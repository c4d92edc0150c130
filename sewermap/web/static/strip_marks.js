// The rows of a strip as SVG: the covered stretch as a bar with the way of the camera, signs with whiskers, works as bands.
"use strict";
(() => {
  const TITLE = 19, LANE = 27, RADIUS = 8, SIGMAS = 1.959964, HALF_BAR = 5;
  const { words, stripScale } = sewermap;

  /** Each mark's place: x, the ends of its whisker, where its label stands; and its lane. */
  function laidOut(row, scale) {
    for (const mark of row.marks) {
      const half = SIGMAS * (mark.sigma || 0), far = words.missing(mark.to) ? mark.measure : mark.to;
      mark.x = scale.x(mark.measure);
      mark.low = scale.x(Math.min(mark.measure, far) - half);
      mark.high = scale.x(Math.max(mark.measure, far) + half);
      const reach = RADIUS * (mark.crossBore ? 2.6 : 1.5), left = Math.min(mark.low, mark.x - reach), right = Math.max(mark.high, mark.x + reach);
      const room = stripScale.wide(mark.label) + (mark.stateWords ? stripScale.wide(` ${mark.stateWords}`, true) + 4 : 0) + 6;
      mark.isLeft = right + room > scale.width - 2 && left - room > 0;
      mark.labelX = mark.isLeft ? left - 4 : right + 4;
      mark.left = mark.isLeft ? left - room : left;
      mark.right = mark.isLeft ? right : right + room;
    }
    return stripScale.lanes(row.marks);
  }

  function whisker(mark, y) {
    const { svg } = sewermap.signs;
    if (mark.high - mark.low < 1) return null;
    const group = svg("g", { class: "whisker" }, svg("line", { x1: mark.low, x2: mark.high, y1: y, y2: y }));
    for (const x of [mark.low, mark.high]) group.append(svg("line", { x1: x, x2: x, y1: y - 4, y2: y + 4 }));
    return group;
  }

  function label(mark, y) {
    const { svg } = sewermap.signs;
    const made = sewermap.stripLine.text(mark.labelX, y + 4.5, mark.label, { class: "label", "text-anchor": mark.isLeft ? "end" : "start", "aria-hidden": "true" });
    if (mark.stateWords) {
      const state = svg("tspan", { class: "said" });
      state.textContent = ` ${mark.stateWords}`;
      made.append(state);
    }
    return made;
  }

  function drawn(mark, y, scale) {
    const { svg, sign } = sewermap.signs;
    mark.y = y;
    const group = svg("g", { class: mark.isGone ? "mark gone" : "mark", role: "img", tabindex: -1, "aria-label": mark.name, "data-measure": mark.measure.toFixed(4), "data-issue": mark.issue || null, "data-state": mark.state || null });
    if (!words.missing(mark.to)) group.append(svg("line", { x1: scale.x(mark.measure), x2: scale.x(mark.to), y1: y, y2: y, class: "along" }));
    group.append(whisker(mark, y) || "");
    if (mark.isGone) group.append(svg("circle", { cx: mark.x, cy: y, r: RADIUS - 1, class: "open" }));
    else group.append(sign(mark.index, mark.x, y, mark.isFeature ? RADIUS - 2 : RADIUS, mark.crossBore));
    // A larger area for fingers.
    group.append(svg("circle", { cx: mark.x, cy: y, r: 13, class: "touch" }), label(mark, y));
    return group;
  }

  function bar(row, scale, y) {
    const { svg } = sewermap.signs, group = svg("g", { class: "covered", "data-run": row.run });
    if (words.missing(row.from) || words.missing(row.to)) return group;
    const low = scale.x(row.from), high = scale.x(row.to), way = row.direction;
    group.append(svg("rect", { x: low, y: y - HALF_BAR, width: Math.max(high - low, 1), height: 2 * HALF_BAR, class: "bar" }));
    // The camera's way: the head of an arrow where the push ended.
    const tip = way > 0 ? high : low;
    if (way) group.append(svg("path", { d: `M${tip - way} ${y - 9}L${tip + way * 11} ${y}L${tip - way} ${y + 9}Z`, class: "way" }));
    return group;
  }

  function work(row, scale, y, hatch) {
    const { svg } = sewermap.signs, low = scale.x(row.from), high = scale.x(row.to);
    return svg("g", { class: "mark work", role: "img", tabindex: -1, "aria-label": row.words, "data-measure": row.from.toFixed(4), "data-to": row.to.toFixed(4) },
      svg("rect", { x: Math.min(low, high - 3), y: y - 7, width: Math.max(high - low, 3), height: 14, class: "ground" }),
      svg("rect", { x: Math.min(low, high - 3), y: y - 7, width: Math.max(high - low, 3), height: 14, fill: `url(#${hatch})`, class: "worked" }));
  }

  /** A row drawn from ``top``: {back, marks (elements), title, height}; each mark of it knows its x and y then. */
  function row(one, scale, top, lengthM, hatch) {
    const { svg } = sewermap.signs, y = top + TITLE + LANE / 2, back = svg("g", { class: `row ${one.type}` });
    const title = sewermap.stripLine.text(4, top + 14, one.words, { class: "title" });
    back.append(svg("line", { x1: 0, x2: scale.width, y1: top, y2: top, class: "between" }));
    if (one.type !== "work") back.append(svg("line", { x1: scale.x(0), x2: scale.x(lengthM), y1: y, y2: y, class: "rest" }));
    if (one.type === "run") back.append(bar(one, scale, y));
    if (one.type === "work") return { back, title, marks: [work(one, scale, y, hatch)], height: TITLE + LANE - 2 };
    const count = laidOut(one, scale);
    const stems = one.marks.filter((mark) => mark.lane > 0).map((mark) => svg("line", { x1: mark.x, x2: mark.x, y1: y, y2: y + mark.lane * LANE, class: "stem" }));
    back.append(...stems);
    const marks = [...one.marks].sort((a, b) => a.measure - b.measure).map((mark) => drawn(mark, y + mark.lane * LANE, scale));
    return { back, title, marks, height: TITLE + count * LANE + 4 };
  }

  /** Lines from row to row between the marks of one issue; dashed to and from a look that did not find it. */
  function joins(rows) {
    const { svg } = sewermap.signs, group = svg("g", { class: "joins" }), last = new Map();
    for (const one of rows) {
      const here = new Map();
      for (const mark of one.marks) {
        if (!mark.issue) continue;
        const before = last.get(mark.issue);
        if (before && !here.has(mark.issue)) {
          group.append(svg("path", { d: `M${before.x} ${before.y + RADIUS}L${mark.x} ${mark.y - RADIUS}`, class: before.isGone || mark.isGone ? "join lost" : "join", "data-issue": mark.issue }));
        }
        here.set(mark.issue, mark);
      }
      for (const [issue, mark] of here) last.set(issue, mark);
    }
    return group;
  }

  sewermap.stripMarks = { row, joins };
})();
