// The list beside the map: the observations that are shown, by house; a hundred at a time.
"use strict";
(() => {
  const STEP = 100;

  function heading(text) {
    const title = document.createElement("h3");
    title.textContent = text;
    return title;
  }

  /** Rows [from, to) under a heading for each lateral. */
  function grouped(seen, rows, pick, buttons) {
    const parts = [];
    let last = null, list = null;
    for (const row of rows) {
      const place = sewermap.rows.place(seen, row);
      if (place !== last) {
        list = document.createElement("ul");
        parts.push(heading(place), list);
        last = place;
      }
      const entry = sewermap.rows.item(seen, row, [], pick);
      buttons.set(row, entry.firstChild);
      list.append(entry);
    }
    return parts;
  }

  /** Keep the list; pick(row) when one is chosen. Returns show(state), mark(row) and button(row). */
  function keep(seen, pick) {
    const holder = document.getElementById("list"), buttons = new Map();
    let rows = [], from = 0, to = STEP, marked = null;
    const render = () => {
      buttons.clear();
      const parts = grouped(seen, rows.slice(from, to), pick, buttons);
      if (from > 0) {
        parts.unshift(sewermap.rows.button("Show earlier", () => {
          from = Math.max(0, from - STEP);
          render();
        }));
      }
      if (to < rows.length) {
        parts.push(sewermap.rows.button(`Show more (${(rows.length - to).toLocaleString("en")} left)`, () => {
          const first = rows[to];
          to += STEP;
          render();
          buttons.get(first).focus();
        }));
      }
      if (!rows.length) parts.push(sewermap.rows.line("empty", seen.placed.length ? "Nothing passes the filters." : "No observation is on the map."));
      holder.replaceChildren(...parts);
      if (marked !== null) buttons.get(marked)?.setAttribute("aria-current", "true");
    };
    const show = (state) => {
      rows = seen.placed.filter((row) => state.shown[row]);
      [from, to] = [0, STEP];
      render();
    };
    const mark = (row) => {
      if (marked !== null) buttons.get(marked)?.removeAttribute("aria-current");
      marked = row;
      if (row === null) return;
      const position = rows.indexOf(row);
      if (position >= 0 && (position < from || position >= to)) {
        from = Math.max(0, position - 10);
        to = from + STEP;
        render();
      }
      const button = buttons.get(row);
      button?.setAttribute("aria-current", "true");
      // Only the list scrolls: on a phone, where it stands below the map, the page must stay where it is.
      const pane = holder.closest(".lists");
      if (button && pane.scrollHeight > pane.clientHeight + 1) button.scrollIntoView({ block: "nearest" });
    };
    return { show, mark, button: (row) => buttons.get(row) };
  }

  sewermap.list = { keep };
})();
