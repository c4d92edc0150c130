// The strip: a lateral laid straight, tie-in left, building right, runs and works stacked by date.
//
// sewermap.strip(host, all)   all: what street.of(number) gives; drawn anew whenever the host's width changes
"use strict";
(() => {
  let drawings = 0;

  function hatch(id) {
    const { svg } = sewermap.signs;
    return svg("defs", {}, svg("pattern", { id, width: 7, height: 7, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" }, svg("line", { x1: 0, x2: 0, y1: 0, y2: 7, class: "hatch" })));
  }

  /** The whole drawing; marks come last, so that nothing lies over them. */
  function drawing(all, rows, room) {
    const { svg } = sewermap.signs, { stripLine, stripMarks, stripScale, t } = sewermap;
    const scale = stripScale.scale(all.lateral.length_m, room), id = (drawings += 1);
    const head = stripLine.head(all, scale), backs = [], titles = svg("g", { class: "titles" }), marks = [];
    let top = head.height;
    for (const one of rows) {
      const made = stripMarks.row(one, scale, top, all.lateral.length_m, `hatch-${id}`);
      backs.push(made.back);
      titles.append(made.title);
      marks.push(...made.marks);
      top += made.height;
    }
    if (!rows.some((one) => one.type === "run")) {
      titles.append(stripLine.text(4, top + 20, t("strip.never"), { class: "title" }));
      top += 30;
    }
    const picture = svg("svg", { class: "strip", width: scale.width, height: Math.ceil(top + 4), viewBox: `0 0 ${scale.width} ${Math.ceil(top + 4)}`, role: "group", "aria-label": t("strip.name") });
    picture.append(hatch(`hatch-${id}`), stripLine.band(all, scale, 0, top, `soft-${id}`), head.group, ...backs, stripMarks.joins(rows), titles, ...marks);
    return { picture, marks, titles };
  }

  /** One stop of the Tab key; arrow keys go from mark to mark, and what a mark says stands below the drawing. */
  function reachable(marks, told) {
    if (!marks.length) return;
    const centre = (mark) => {
      const { left, width, top, height } = mark.querySelector(".sign, .open, .worked").getBoundingClientRect();
      return { x: left + width / 2, y: top + height / 2 };
    };
    const nearest = (from, way) => {
      const here = centre(from), isAcross = way === "x-" || way === "x+", sign = way.endsWith("+") ? 1 : -1;
      const far = (mark) => {
        const there = centre(mark), dx = there.x - here.x, dy = there.y - here.y;
        const along = sign * (isAcross ? dx : dy), off = Math.abs(isAcross ? dy : dx);
        return mark === from || along < 1 ? Infinity : along + (isAcross ? 4 : 0.5) * off;
      };
      return marks.reduce((best, mark) => (far(mark) < far(best) ? mark : best), from);
    };
    const ways = { ArrowLeft: "x-", ArrowRight: "x+", ArrowUp: "y-", ArrowDown: "y+" };
    marks[0].setAttribute("tabindex", "0");
    for (const mark of marks) {
      mark.addEventListener("click", () => mark.focus());
      mark.addEventListener("mouseenter", () => { told.textContent = mark.getAttribute("aria-label"); });
      mark.addEventListener("focus", () => {
        for (const other of marks) other.setAttribute("tabindex", other === mark ? "0" : "-1");
        told.textContent = mark.getAttribute("aria-label");
        mark.scrollIntoView({ block: "nearest", inline: "nearest" });
      });
      mark.addEventListener("keydown", (event) => {
        const way = ways[event.key];
        if (!way) return;
        event.preventDefault();
        const next = nearest(mark, way);
        if (Number.isFinite(centre(next).x)) next.focus({ preventScroll: true });
      });
    }
  }

  function legend() {
    const { t, cells: { made }, signs: { svg, sign } } = sewermap;
    const entry = (picture, key) => made("li", {}, picture, t(key));
    const small = (...children) => svg("svg", { class: "strip key", width: 34, height: 20, viewBox: "0 0 34 20", "aria-hidden": "true", focusable: "false" }, ...children);
    const grades = svg("svg", { class: "strip key", width: 146, height: 24, viewBox: "0 0 146 24", "aria-hidden": "true", focusable: "false" }, ...[2, 3, 4, 5, 6, 7].map((index, at) => sign(index, 13 + 24 * at, 12, 7.5)));
    const line = (name) => small(svg("line", { x1: 2, x2: 32, y1: 10, y2: 10, class: name }));
    return made("ul", { class: "strip-legend" },
      entry(small(svg("rect", { x: 2, y: 5, width: 22, height: 10, class: "bar" }), svg("path", { d: "M23 1L33 10L23 19Z", class: "way" })), "strip.key.covered"),
      entry(grades, "strip.key.sign"),
      entry(small(svg("g", { class: "whisker" }, svg("line", { x1: 3, x2: 31, y1: 10, y2: 10 }), svg("line", { x1: 3, x2: 3, y1: 5, y2: 15 }), svg("line", { x1: 31, x2: 31, y1: 5, y2: 15 }))), "strip.key.whisker"),
      entry(line("join"), "strip.key.join"),
      entry(small(svg("circle", { cx: 17, cy: 10, r: 7, class: "open" })), "strip.key.gone"),
      entry(small(svg("line", { x1: 17, x2: 17, y1: 1, y2: 19, class: "ends" })), "strip.key.line"));
  }

  sewermap.strip = (host, all) => {
    const { t, cells: { made }, words } = sewermap;
    if (words.missing(all.lateral.length_m)) return host.replaceChildren(made("p", { class: "none" }, t("strip.no_line")));
    const box = made("div", { class: "strip-box", role: "region", tabindex: "0", "aria-label": t("strip.name") });
    const told = made("p", { class: "strip-told", role: "status" }, t("strip.choose"));
    host.replaceChildren(box, told, legend());
    let width = 0, titles = null;
    const draw = () => {
      const room = box.clientWidth;
      if (!room || room === width) return;
      width = room;
      const drawn = drawing(all, sewermap.stripRows(all), room);
      titles = drawn.titles;
      box.replaceChildren(drawn.picture);
      reachable(drawn.marks, told);
      told.hidden = drawn.marks.length === 0;
    };
    // What a row is stays in sight while the line is moved sideways.
    box.addEventListener("scroll", () => titles && titles.setAttribute("transform", `translate(${box.scrollLeft} 0)`));
    draw();
    new ResizeObserver(draw).observe(box);
    return undefined;
  };
})();
