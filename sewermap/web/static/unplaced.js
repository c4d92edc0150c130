// What could not be placed: never silently missing, whatever the filters say.
"use strict";
(() => {
  const STEP = 100;

  /** Fill the panel; goTo(row) shows the lateral of an observation when it is on the map (hasLateral(row)). */
  function fill(seen, hasLateral, goTo) {
    const holder = document.getElementById("unplaced"), list = document.createElement("ul");
    document.getElementById("unplaced-title").textContent = `Not on the map (${seen.unplaced.length.toLocaleString("en")})`;
    if (!seen.unplaced.length) {
      holder.append(sewermap.rows.line("empty", "Every observation could be placed."));
      return;
    }
    let next = 0;
    const more = sewermap.rows.button("Show more", () => add());
    function add() {
      for (const row of seen.unplaced.slice(next, next + STEP)) {
        const texts = [`Why: ${seen.reason(row) || "no reason given"}`, sewermap.rows.place(seen, row), seen.remark(row), sewermap.rows.source(seen, row)];
        list.append(sewermap.rows.item(seen, row, texts, hasLateral(row) ? goTo : null));
      }
      next += STEP;
      more.hidden = next >= seen.unplaced.length;
    }
    const hint = sewermap.rows.line("hint", "These could not be placed. The filters do not hide them.");
    holder.append(hint, list, more);
    add();
  }

  sewermap.unplaced = { fill };
})();
