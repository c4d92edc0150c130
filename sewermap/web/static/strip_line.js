// The head of a strip: whose side is where, known points, the pipe from tie-in to building, scales in both units; and the property
// line down through all rows, as soft as it is uncertain.
"use strict";
(() => {
  const LANE = 17, PIPE = 13, SIGMAS = 1.959964; // 95 % of a normal deviate
  const { words, stripScale } = sewermap;

  function text(x, y, content, attributes = {}) {
    const made = sewermap.signs.svg("text", { x, y, ...attributes });
    made.textContent = content;
    return made;
  }

  /** Where private ends, as far as known: {measure, sigma, words}; null where nobody knows. */
  function boundary(lateral) {
    const { t, tOr } = sewermap;
    if (!words.missing(lateral.private_ends_m)) {
      const at = lateral.private_ends_at || "property line";
      const name = tOr(`kind.${at}`, stripScale.cut(at));
      return { measure: lateral.private_ends_m, sigma: lateral.private_ends_sigma_m, at: name, words: at === "property line" ? name : t("strip.private_ends", { at: name }) };
    }
    if (words.missing(lateral.property_line_m)) return null;
    return { measure: lateral.property_line_m, sigma: lateral.property_line_sigma_m, at: words.kind("property line"), words: words.kind("property line") };
  }

  /** Points that have names, each once: tie-in, building, property line, clean-outs, bends. */
  function known(all) {
    const { lateral, referents } = all, ends = boundary(lateral), { t } = sewermap;
    const points = [{ measure: 0, words: words.kind("tie-in") }, { measure: lateral.length_m, words: words.kind("building") }];
    if (ends && ends.measure > 0.01 && ends.measure < lateral.length_m - 0.01) points.push({ ...ends, isLine: true });
    if (ends && !words.missing(lateral.property_line_m) && Math.abs(lateral.property_line_m - ends.measure) > 0.01) points.push({ measure: lateral.property_line_m, words: words.kind("property line") });
    for (const point of referents) {
      if (words.missing(point.measure_m) || ["tie-in", "building", "property line"].includes(point.kind)) continue;
      points.push({ measure: point.measure_m, kind: point.kind, words: t("strip.point", { kind: words.kind(stripScale.cut(point.kind)), name: stripScale.cut(point.name, 16) }) });
    }
    return points;
  }

  function points(all, scale, top) {
    const { svg } = sewermap.signs, group = svg("g", { class: "points" }), items = known(all);
    for (const item of items) {
      const half = stripScale.wide(item.words) / 2, x = scale.x(item.measure);
      item.x = x;
      item.middle = Math.min(Math.max(x, half + 2), scale.width - half - 2);
      item.left = item.middle - half;
      item.right = item.middle + half;
    }
    const count = stripScale.lanes(items), pipe = top + count * LANE + 8;
    for (const item of items) {
      // The lowest lane is the nearest to the pipe.
      const y = pipe - 12 - item.lane * LANE;
      group.append(svg("line", { x1: item.x, x2: item.x, y1: y + 4, y2: pipe + PIPE, class: item.isLine ? "leader strong" : "leader" }));
      group.append(text(item.middle, y, item.words, { "text-anchor": "middle", class: "point" }));
    }
    return { group, pipe, items };
  }

  function pipe(all, scale, top, items) {
    const { svg } = sewermap.signs, { lateral } = all, left = scale.x(0), right = scale.x(lateral.length_m), middle = top + PIPE / 2;
    const group = svg("g", { class: "pipe-of" });
    group.append(svg("circle", { cx: left - 10, cy: middle, r: 10, class: "main" }), svg("rect", { x: left, y: top, width: right - left, height: PIPE, class: "pipe" }));
    group.append(svg("path", { d: `M${right} ${top + PIPE + 6}v-${PIPE + 8}l12 -9l12 9v${PIPE + 8}z`, class: "house" }));
    for (const item of items) {
      if (item.kind === "clean-out") group.append(svg("rect", { x: item.x - 3, y: top - 5, width: 6, height: PIPE + 5, class: "clean-out" }));
      else if (item.kind === "bend") group.append(svg("path", { d: `M${item.x - 5} ${top + PIPE}L${item.x} ${top}L${item.x + 5} ${top + PIPE}`, class: "bend" }));
    }
    const made = stripScale.cut([lateral.diameter, lateral.material].filter(Boolean).join(" "), 40);
    if (made) group.append(text((left + right) / 2, top + PIPE + 15, made, { "text-anchor": "middle", class: "material" }));
    return group;
  }

  function axis(lengthM, scale, top, unit, isFirst) {
    const { svg } = sewermap.signs, group = svg("g", { class: isFirst ? "axis first" : "axis", "data-unit": unit });
    for (const { measure, words: said } of stripScale.ticks(lengthM, scale.perM, unit)) {
      const x = scale.x(measure);
      group.append(svg("line", { x1: x, x2: x, y1: top, y2: top + 5, "data-measure": measure.toFixed(4) }));
      group.append(text(x, top + 17, said, { "text-anchor": "middle" }));
    }
    group.append(svg("line", { x1: scale.x(0), x2: scale.x(lengthM), y1: top, y2: top }));
    return group;
  }

  /** Public and private, written on both sides of where private ends. */
  function sides(all, scale, top) {
    const { svg } = sewermap.signs, { t } = sewermap, ends = boundary(all.lateral), group = svg("g", { class: "sides" });
    if (!ends) {
      group.append(text(scale.x(0), top + 13, t("strip.no_side")));
      return { group, height: 20 };
    }
    const x = scale.x(ends.measure), left = t("strip.public"), right = t("strip.private");
    const room = { left: stripScale.wide(left, true) + 8, right: stripScale.wide(right, true) + 8 };
    if (ends.measure > 0.01) group.append(text(Math.max(x - 6, room.left), top + 13, left, { "text-anchor": "end", class: "side" }));
    if (ends.measure < all.lateral.length_m - 0.01) group.append(text(Math.min(x + 6, scale.width - room.right), top + 30, right, { class: "side" }));
    return { group, height: 36 };
  }

  /** The band in which private ends with 95 %, fading outwards, from top to bottom of the drawing. */
  function band(all, scale, top, bottom, id) {
    const { svg } = sewermap.signs, ends = boundary(all.lateral), group = svg("g", { class: "line-of" });
    if (!ends) return group;
    const half = SIGMAS * (ends.sigma || 0), low = scale.x(ends.measure - half), high = scale.x(ends.measure + half), x = scale.x(ends.measure);
    const stops = [[0, 0.04], [0.25, 0.14], [0.5, 0.3], [0.75, 0.14], [1, 0.04]].map(([offset, opacity]) => svg("stop", { offset, "stop-color": "currentColor", "stop-opacity": String(opacity) }));
    group.append(svg("defs", {}, svg("linearGradient", { id }, ...stops)));
    if (half > 0) group.append(svg("rect", { x: low, y: top, width: Math.max(high - low, 1), height: bottom - top, fill: `url(#${id})`, class: "soft" }));
    group.append(svg("line", { x1: x, x2: x, y1: top, y2: bottom, class: "ends", "data-measure": ends.measure.toFixed(4) }));
    return group;
  }

  /** The head as {group, height}. */
  function head(all, scale) {
    const { svg } = sewermap.signs, { units } = sewermap.about, lengthM = all.lateral.length_m;
    const side = sides(all, scale, 0), { group, pipe: top, items } = points(all, scale, side.height);
    const first = top + PIPE + 24, second = first + 22;
    const whole = svg("g", { class: "head" }, side.group, group, pipe(all, scale, top, items), axis(lengthM, scale, first, units, true), axis(lengthM, scale, second, units === "m" ? "ft" : "m", false));
    return { group: whole, height: second + 26 };
  }

  sewermap.stripLine = { head, band, boundary, text };
})();
