// Search by address, lateral or street: a combobox with a list of choices (ARIA 1.2 pattern), names loaded on first use.
"use strict";
(() => {
  const MOST = 12, WAIT_MS = 120;
  const { t } = sewermap;
  const plain = (text) => text.normalize("NFD").replace(/\p{M}/gu, "").toLowerCase();

  /** Everything one may search for: streets first, then houses. plain texts are made once. */
  function entries(names) {
    const { laterals } = sewermap.city, all = [];
    sewermap.town.streets.forEach((name, row) => name && all.push({ kind: "street", row, text: name, note: t("town.find.street"), words: plain(name) }));
    for (let row = 0; row < laterals.count; row += 1) {
      const lateral = names.lateral(row), address = names.address(row);
      all.push({ kind: "lateral", row, text: address || lateral, note: address ? lateral : t("town.find.lateral"), words: plain(`${address} ${lateral}`) });
    }
    return all;
  }

  /** Those that hold every word typed; those whose words begin like it come first, in the order of streets and houses. */
  function found(all, typed) {
    const parts = plain(typed).split(/\s+/).filter(Boolean), first = [], others = [];
    if (!parts.length) return [];
    for (const entry of all) {
      if (!parts.every((part) => entry.words.includes(part))) continue;
      const begins = parts.every((part) => entry.words.startsWith(part) || entry.words.includes(` ${part}`));
      const list = begins ? first : others;
      if (list.length < MOST) list.push(entry);
      if (first.length === MOST) break;
    }
    return [...first, ...others].slice(0, MOST);
  }

  /** Keep the box; go(entry): one was chosen. */
  function keep(go) {
    const box = document.getElementById("find"), list = document.getElementById("find-list"), status = document.getElementById("find-status");
    let all = null, shown = [], active = -1, timer = 0;

    function close() {
      list.hidden = true;
      box.setAttribute("aria-expanded", "false");
      box.removeAttribute("aria-activedescendant");
      active = -1;
    }
    function activate(next) {
      list.children[active]?.setAttribute("aria-selected", "false");
      active = next;
      const chosen = list.children[active];
      chosen?.setAttribute("aria-selected", "true");
      chosen?.scrollIntoView({ block: "nearest" });
      if (chosen) box.setAttribute("aria-activedescendant", chosen.id);
    }
    function choose(entry) {
      box.value = entry.text;
      status.textContent = "";
      close();
      go(entry);
    }
    function option(entry, i) {
      const made = document.createElement("li"), text = document.createElement("bdi"), note = document.createElement("span");
      made.id = `find-${i}`;
      made.setAttribute("role", "option");
      made.setAttribute("aria-selected", "false");
      text.textContent = entry.text;
      note.textContent = entry.note;
      note.className = "hint";
      made.append(text, " ", note);
      // Not click: the box must keep the focus.
      made.addEventListener("mousedown", (event) => {
        event.preventDefault();
        choose(entry);
      });
      return made;
    }
    function look() {
      shown = all ? found(all, box.value) : [];
      list.replaceChildren(...shown.map(option));
      active = -1;
      box.removeAttribute("aria-activedescendant");
      list.hidden = !shown.length;
      box.setAttribute("aria-expanded", String(shown.length > 0));
      const typed = box.value.trim();
      status.textContent = !typed ? "" : shown.length ? sewermap.tn("town.find.found", shown.length) : t(all ? "town.find.none" : "town.find.loading");
    }
    /** Names come with the first use; what was typed meanwhile is looked for when they are here. */
    function load(then) {
      if (all) return then();
      return sewermap.city.names((names) => {
        all = entries(names);
        then();
      });
    }
    const act = {
      ArrowDown: () => (shown.length ? activate((active + 1) % shown.length) : load(look)),
      ArrowUp: () => shown.length && activate((active - 1 + shown.length) % shown.length),
      Enter: () => load(() => {
        if (!shown.length || active < 0) {
          clearTimeout(timer);
          look();
        }
        if (shown.length) choose(shown[Math.max(0, active)]);
      }),
      Escape: () => (list.hidden ? (box.value = "") : close()),
    };
    box.addEventListener("keydown", (event) => {
      if (!act[event.key]) return;
      event.preventDefault();
      act[event.key]();
    });
    box.addEventListener("input", () => {
      clearTimeout(timer);
      timer = setTimeout(() => load(look), WAIT_MS);
      if (!all) status.textContent = t("town.find.loading");
    });
    box.addEventListener("focus", () => load(() => {}));
    box.addEventListener("blur", close);
  }

  sewermap.townSearch = { keep };
})();
