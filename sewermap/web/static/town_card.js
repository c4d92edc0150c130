// What a card on the map says of an issue or a lateral. Everything is set as text: nothing in the data can become markup.
"use strict";
(() => {
  const MOST_LISTED = 8;
  const { t } = sewermap;
  const { element } = sewermap.townList;

  /** Terms and what is said of them; what is not known is left out. */
  function facts(pairs) {
    const list = element("dl");
    for (const [term, text] of pairs) if (text) list.append(element("dt", "", t(`town.card.${term}`)), element("dd", "", text));
    return list;
  }

  function link(page, keys, text) {
    const made = element("a", "", text);
    made.href = sewermap.url.href(page, keys);
    return made;
  }

  /** Links to the pages of the house and of the street. */
  function links(lateral, names) {
    const line = element("p", "card-links"), street = sewermap.town.streets[sewermap.city.laterals.street[lateral]];
    line.append(link("property", { lateral: names.lateral(lateral) }, t("town.card.property_page")));
    if (street) line.append(" · ", link("street", { street }, t("town.card.street_page")));
    return line;
  }

  function measure(issue, details) {
    const { length } = sewermap.words, to = details.to(issue), from = length(details.measure(issue), details.sigma(issue));
    return from && (to === null ? t("town.card.at", { from }) : t("town.card.from_to", { from, to: length(to) }));
  }

  function shell(kind, picture, title) {
    const content = element("div", "card"), heading = element("h2");
    content.tabIndex = -1;
    content.dataset.card = kind;
    if (picture) heading.append(picture);
    heading.append(element("span", "", title));
    content.append(heading);
    return content;
  }

  /** The card of an issue; choose(kind, row): go on to something else. */
  function ofIssue(issue, look, names, details, choose) {
    const { city, words, town, symbols } = sewermap, { issues } = city, lateral = issues.lateral[issue], grade = (look.grade || issues.grade)[issue];
    const bore = (issues.flags[issue] & city.CROSS_BORE) > 0, kind = words.title(words.kind(town.kinds[issues.kind[issue]]));
    const content = shell("issue", symbols.picture(symbols.classOf("defect", grade || null), bore), `${kind} · ${grade ? words.grade(grade) : t("town.ungraded")}`);
    if (bore || isBored(lateral, look)) content.append(stop());
    content.append(facts([
      ["where", names.address(lateral) || town.streets[city.laterals.street[lateral]]],
      ["place", measure(issue, details) || t("town.no_place")],
      ["side", words.title(words.side(town.sides[issues.side[issue]]))],
      ["state", words.state(town.states[(look.state || issues.state)[issue]])],
      ["first", words.day(issues.first[issue])],
      ["last", words.day(details.last(issue, look.day))],
      ["repeat", details.isRepeat(issue, look.day) ? t("town.card.came_back") : ""],
      ["issue", names.issue(issue)],
    ]));
    const more = element("button", "", t("town.card.all_of", { lateral: names.lateral(lateral) }));
    more.type = "button";
    more.addEventListener("click", () => choose("lateral", lateral));
    content.append(links(lateral, names), more, element("p", "locate", t("caution.short")));
    return content;
  }

  function due(lateral) {
    const { laterals } = sewermap.city, state = ["", "not yet", "due", "checked", "lapsed"][laterals.due[lateral]];
    if (!state) return t("town.card.no_warranty");
    return t(`town.card.check.${state.replace(" ", "_")}`, { day: sewermap.words.day(laterals.check_by[lateral]) });
  }

  /** Has a cross-bore been suspected on the lateral and not been mended? Whatever a filter hides, that is told. */
  function isBored(lateral, look) {
    const { laterals, issues, CROSS_BORE } = sewermap.city, state = look.state || issues.state, mended = sewermap.town.states.indexOf("mended");
    for (let i = laterals.first_issue[lateral]; i < laterals.first_issue[lateral + 1]; i += 1) {
      if (issues.flags[i] & CROSS_BORE && state[i] !== mended && (!look.known || look.known[i])) return true;
    }
    return false;
  }

  const stop = () => element("p", "stop", `${t("caution.bore.lead")} ${t("caution.bore")}`);

  /** Buttons for the shown issues of a lateral. */
  function shownIssues(lateral, look, details, choose) {
    const { laterals, issues } = sewermap.city, rows = [];
    for (let i = laterals.first_issue[lateral]; i < laterals.first_issue[lateral + 1]; i += 1) if (look.issues[i]) rows.push(i);
    const list = element("ul", "card-issues");
    for (const row of rows.slice(0, MOST_LISTED)) {
      const item = element("li"), button = element("button"), grade = (look.grade || issues.grade)[row];
      const text = [sewermap.words.kind(sewermap.town.kinds[issues.kind[row]]), grade ? t("town.grade", { grade }) : t("town.ungraded"), sewermap.words.short(details.measure(row))];
      button.type = "button";
      button.append(sewermap.symbols.picture(sewermap.symbols.classOf("defect", grade || null), (issues.flags[row] & sewermap.city.CROSS_BORE) > 0), element("span", "", text.filter(Boolean).join(" · ")));
      button.addEventListener("click", () => choose("issue", row));
      item.append(button);
      list.append(item);
    }
    if (rows.length > MOST_LISTED) list.append(element("li", "hint", sewermap.tn("town.card.more", rows.length - MOST_LISTED)));
    return [element("p", "card-count", sewermap.tn("town.card.shown", rows.length)), list];
  }

  /** The card of a lateral. */
  function ofLateral(lateral, look, names, details, choose) {
    const { city, words, town } = sewermap, { laterals } = city, grade = (look.lateralGrade || laterals.grade)[lateral];
    const address = names.address(lateral), street = town.streets[laterals.street[lateral]], scoped = (look.scoped || laterals.scoped)[lateral];
    const content = shell("lateral", null, address || t("town.card.lateral_title", { lateral: names.lateral(lateral) }));
    if (isBored(lateral, look)) content.append(stop());
    content.append(facts([
      ["lateral", names.lateral(lateral)],
      ["street", address.includes(street) ? "" : street],
      ["grade", grade ? words.grade(grade) : t("town.class.grade.none")],
      ["scoped", scoped ? words.day(scoped) : t("town.card.never")],
      ["due", due(lateral)],
    ]), ...shownIssues(lateral, look, details, choose), links(lateral, names), element("p", "locate", t("caution.short")));
    return content;
  }

  sewermap.townCard = { ofIssue, ofLateral };
})();
