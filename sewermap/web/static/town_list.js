// The list beside the map: issues that are shown and in view (or in the whole town), a hundred at a time, in an order of one's choice.
"use strict";
(() => {
  const SOON_MS = 60; // a map that is still moving needs no list
  const PAGE = 100, MOST_ROWS = 2 ** 22; // a key and a row stand together in one number: sorting numbers is quick
  const NONE_LAST = 2 ** 30;

  /** For each order the number that a row is sorted by; equal ones stay in the order of streets, houses and measures. */
  const KEYS = {
    street: () => () => 0,
    grade: (look) => (row) => 9 - ((look.grade || sewermap.city.issues.grade)[row]),
    last: (look, details) => (row) => 65535 - (details ? details.last(row, look.day) : sewermap.city.issues.last[row]),
    measure: (look, details) => (row) => (details ? details.millimetres[row] : 0) || NONE_LAST,
  };

  function sorted(rows, order, look, details) {
    if (order === "street") return rows;
    const key = KEYS[order](look, details), pairs = Float64Array.from(rows, (row) => key(row) * MOST_ROWS + row).sort();
    return Uint32Array.from(pairs, (pair) => pair % MOST_ROWS);
  }

  function element(tag, className, text) {
    const made = document.createElement(tag);
    if (className) made.className = className;
    if (text) made.textContent = text;
    return made;
  }

  /** One issue as a button. names and details may still be under way. */
  function item(row, look, names, details, pick) {
    const { t, words, city, town } = sewermap, { issues } = city, grade = (look.grade || issues.grade)[row], lateral = issues.lateral[row];
    const entry = element("li"), button = element("button", "issue-row"), text = element("span", "row-words");
    const bore = (issues.flags[row] & city.CROSS_BORE) > 0, street = town.streets[city.laterals.street[lateral]];
    button.type = "button";
    button.dataset.issue = row;
    const title = element("span", "row-title", `${words.title(words.kind(town.kinds[issues.kind[row]]))} · ${grade ? t("town.grade", { grade }) : t("town.ungraded")}`);
    const house = names ? names.address(lateral) || names.lateral(lateral) : "", where = element("span", "row-where");
    where.append(element("bdi", "", house));
    if (street && !house.includes(street)) where.append(house ? " · " : "", element("bdi", "", street));
    const measure = details && words.short(details.measure(row));
    const facts = [measure && t("town.from_tie_in", { length: measure }), t(`town.side.${town.sides[issues.side[row]]}`), words.state(town.states[(look.state || issues.state)[row]])];
    if (details?.isRepeat(row, look.day) && !facts[2].startsWith(words.state("returned"))) facts.push(t("town.card.came_back"));
    const last = details ? details.last(row, look.day) : issues.last[row];
    text.append(title, where, element("span", "row-facts", facts.filter(Boolean).join(" · ")), element("span", "row-facts", t("town.last_seen", { day: words.day(last) })));
    if (bore) text.prepend(element("span", "stop", t("town.bore_short")));
    if (issues.flags[row] & city.UNPLACED) text.append(element("span", "row-facts", t("town.no_place")));
    button.append(sewermap.symbols.picture(sewermap.symbols.classOf("defect", grade || null), bore), text);
    button.addEventListener("click", () => pick(row, button));
    entry.append(button);
    return entry;
  }

  /** Keep the list. map, look: what it follows; pick(row, button): a row was chosen. Gives {renew, renewSoon, mark, button, load}. */
  function keep(map, look, pick) {
    const [holder, count, order, all, pager, note] = ["list", "list-count", "order", "whole-town", "pager", "list-note"].map((id) => document.getElementById(id));
    let rows = new Uint32Array(0), page = 0, marked = -1, names = null, details = null, timer = 0;
    const tellWhetherReady = () => { document.body.dataset.listed = String(Boolean(names && details) && !timer); };
    const [back, next, told] = [element("button", "", sewermap.t("town.page.back")), element("button", "", sewermap.t("town.page.next")), element("span")];
    back.type = next.type = "button";
    pager.append(back, told, next);

    const button = (row) => holder.querySelector(`[data-issue="${row}"]`);
    function mark(row) {
      button(marked)?.removeAttribute("aria-current");
      marked = row;
      if (row < 0) return;
      const place = rows.indexOf(row);
      if (place >= 0 && Math.floor(place / PAGE) !== page) show(Math.floor(place / PAGE));
      button(row)?.setAttribute("aria-current", "true");
      reveal();
    }
    function reveal() {
      const chosen = button(marked), pane = holder.closest(".lists");
      // Only the list scrolls: on a phone, where it stands below the map, the page must stay where it is.
      if (chosen && pane.scrollHeight > pane.clientHeight + 1) chosen.scrollIntoView({ block: "nearest" });
    }
    function show(wanted) {
      if (!names || !details) return; // a row tells its house: the rows come with the names, once
      const pages = Math.max(1, Math.ceil(rows.length / PAGE)), { number, t } = sewermap;
      page = Math.max(0, Math.min(wanted, pages - 1));
      const from = page * PAGE, part = rows.slice(from, from + PAGE), held = document.activeElement.dataset.issue;
      holder.replaceChildren(...Array.from(part, (row) => item(row, look, names, details, pick)));
      holder.start = from + 1;
      if (held) button(held)?.focus({ preventScroll: true });
      pager.hidden = pages < 2;
      back.disabled = page === 0;
      next.disabled = page === pages - 1;
      told.textContent = t("town.page.rows", { from: number(from + 1), to: number(from + part.length), of: number(rows.length) });
      button(marked)?.setAttribute("aria-current", "true");
    }
    /** Read anew what is shown and in view. */
    function renew() {
      clearTimeout(timer);
      timer = 0;
      tellWhetherReady();
      if (all.checked) rows = Uint32Array.from(shownRows(look.issues));
      else rows = sewermap.city.inBounds(map.getBounds(), look);
      rows = sorted(rows, order.value, look, details);
      count.textContent = sewermap.tn(all.checked ? "town.list.town" : "town.list.view", rows.length);
      note.hidden = rows.length > 0;
      note.textContent = sewermap.t(all.checked || !look.issues.includes(1) ? "town.list.empty" : "town.list.empty_view");
      showMarked();
    }
    /** The page of the list that holds what is chosen, else the first. */
    function showMarked() {
      const place = marked < 0 ? -1 : rows.indexOf(marked);
      show(place < 0 ? 0 : Math.floor(place / PAGE));
      reveal();
    }
    /** The same a little later, once for many calls. */
    function renewSoon() {
      clearTimeout(timer);
      timer = setTimeout(renew, SOON_MS);
      tellWhetherReady();
    }
    function turn(by, other) {
      show(page + by);
      (document.activeElement === document.body || document.activeElement.disabled ? other : document.activeElement).focus({ preventScroll: true });
      holder.closest(".lists").scrollTop = 0;
    }
    back.addEventListener("click", () => turn(-1, next));
    next.addEventListener("click", () => turn(1, back));
    order.addEventListener("change", renew);
    all.addEventListener("change", renew);
    /** Names and measures are loaded when the map stands: it comes first. */
    const load = () => {
      const both = () => {
        if (!names || !details) return undefined;
        tellWhetherReady();
        return order.value === "measure" || order.value === "last" ? renew() : showMarked();
      };
      sewermap.details((given) => {
        details = given;
        both();
      });
      sewermap.city.names((given) => {
        names = given;
        both();
      });
    };
    return { renew, renewSoon, mark, button, load };
  }

  function* shownRows(flags) {
    for (let row = 0; row < flags.length; row += 1) if (flags[row]) yield row;
  }

  sewermap.townList = { keep, element };
})();
