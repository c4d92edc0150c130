// The slider: what was known at the end of a month. At its right end it is off, and the map tells of today.
"use strict";
(() => {
  const { t, words } = sewermap;

  /** The last days of the months from the first sighting on, as days since 1990, and the day that the site tells of. */
  function monthEnds() {
    const asOf = words.dayNumber(sewermap.town.as_of), days = [];
    let first = asOf;
    for (const day of sewermap.city.issues.first) if (day && day < first) first = day;
    const [year, month] = words.isoDay(first).split("-").map(Number);
    for (let i = 0; ; i += 1) {
      const end = Math.round((Date.UTC(year, month + i, 0) - Date.UTC(1990, 0, 1)) / 86400000);
      if (end >= asOf) break;
      days.push(end);
    }
    return [...days, asOf];
  }

  function keep() {
    const slider = document.getElementById("time"), told = document.getElementById("time-told"), off = document.getElementById("time-off");
    const days = monthEnds(), last = days.length - 1;
    slider.max = last;
    slider.disabled = last === 0;
    const at = () => (Number(slider.value) === last ? null : words.isoDay(days[slider.value]));
    const say = (day) => {
      const text = day ? t("town.time.known", { day: words.day(day) }) : t("town.time.today", { day: words.day(sewermap.town.as_of) });
      told.textContent = text;
      slider.setAttribute("aria-valuetext", text);
      off.hidden = !day;
      document.getElementById("time-note").hidden = !day;
      document.getElementById("time-sum").textContent = day ? words.day(day) : "";
    };
    let sliding = false;
    slider.addEventListener("input", () => {
      say(at());
      // One step of the browser's history for one pull, however many months it passes.
      sewermap.url[sliding ? "replace" : "set"]({ day: at() });
      sliding = true;
    });
    slider.addEventListener("change", () => { sliding = false; });
    off.addEventListener("click", () => {
      sewermap.url.set({ day: null });
      slider.focus();
    });
    /** Take on what the address bar says. */
    return (day) => {
      const place = day ? days.findIndex((end) => end >= day) : last;
      if (Number(slider.value) !== place) slider.value = place;
      say(day ? words.isoDay(day) : null);
    };
  }

  sewermap.townTime = { keep };
})();
