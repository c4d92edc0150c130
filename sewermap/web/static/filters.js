// What is shown: by role and by kind, with counts, and by the words looked for.
"use strict";
(() => {
  const ROLES = [["defect", "Defects"], ["feature", "Features of the line"], ["look", "What the camera could not see or pass"]];

  /** Kinds of each role with how many observations on the map each has, in alphabetical order. */
  function countKinds(seen) {
    const counts = new Map(ROLES.map(([role]) => [role, new Map()]));
    for (const row of seen.placed) {
      const kinds = counts.get(seen.role(row)), kind = seen.kind(row);
      kinds.set(kind, (kinds.get(kind) || 0) + 1);
    }
    for (const [role, kinds] of counts) counts.set(role, new Map([...kinds].sort(([a], [b]) => (a < b ? -1 : 1))));
    return counts;
  }

  function checkbox(text, count, changed) {
    const label = document.createElement("label"), box = document.createElement("input"), number = document.createElement("span");
    label.className = "check";
    box.type = "checkbox";
    box.checked = true;
    box.addEventListener("change", changed);
    number.className = "number";
    number.textContent = count.toLocaleString("en");
    label.append(box, ` ${text} `, number);
    return { label, box };
  }

  /** One role's box and, below it, a box for each of its kinds. */
  function roleGroup(title, kinds, changed) {
    const group = document.createElement("fieldset"), legend = document.createElement("legend"), boxes = new Map();
    const total = [...kinds.values()].reduce((sum, count) => sum + count, 0);
    const all = checkbox(title, total, () => {
      for (const box of boxes.values()) box.disabled = !all.box.checked;
      changed();
    });
    legend.append(all.label);
    group.append(legend);
    for (const [kind, count] of kinds) {
      const one = checkbox(kind || "(no kind)", count, changed);
      boxes.set(kind, one.box);
      group.append(one.label);
    }
    return { group, role: all.box, boxes };
  }

  /**
   * Fill the panel and keep the state: {shown: 1 or 0 for each row, shownCount, circles, marked: a row or null}. changed(state) is called after each change,
   * found() after a change of the words looked for.
   */
  function panel(seen, changed, found) {
    const state = { shown: new Uint8Array(seen.count), shownCount: 0, circles: true, marked: null };
    const groups = new Map(), finds = sewermap.finding.finder(seen), find = document.getElementById("find");
    const apply = () => {
      const looked = finds(find.value);
      state.shown.fill(0);
      state.shownCount = 0;
      for (const row of seen.placed) {
        const group = groups.get(seen.role(row));
        const passes = group.role.checked && group.boxes.get(seen.kind(row)).checked && looked(row);
        if (passes) state.shownCount += state.shown[row] = 1;
      }
      changed(state);
    };
    for (const [role, kinds] of countKinds(seen)) {
      const title = ROLES.find(([name]) => name === role)[1];
      groups.set(role, roleGroup(title, kinds, apply));
      if (kinds.size) document.getElementById("kinds").append(groups.get(role).group);
    }
    const setAll = (checked) => {
      for (const { role, boxes } of groups.values()) {
        role.checked = checked;
        for (const box of boxes.values()) [box.checked, box.disabled] = [checked, !checked];
      }
      apply();
    };
    // After "None", one kind must be a single click away: its role stays on.
    const setNone = () => {
      for (const { boxes } of groups.values()) for (const box of boxes.values()) box.checked = false;
      apply();
    };
    document.getElementById("all").addEventListener("click", () => setAll(true));
    document.getElementById("none").addEventListener("click", setNone);
    document.getElementById("circles").addEventListener("change", (event) => {
      state.circles = event.target.checked;
      changed(state);
    });
    find.addEventListener("input", () => {
      apply();
      if (find.value.trim()) found();
    });
    return { state, apply };
  }

  sewermap.filters = { panel, ROLES };
})();
