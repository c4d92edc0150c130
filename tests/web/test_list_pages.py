"""The due, repeats, changes and quality pages: their numbers are those of the command line."""

from datetime import date
from itertools import pairwise

import pandas as pd
import pytest

from sewermap.plain import plain
from sewermap.web.list_data import place_of

PHONE = {"width": 360, "height": 740, "has_touch": True, "is_mobile": True}
GROUPS = ("new", "worse", "returned", "gone")
GONE = {"mended", "not seen"}
STATES = {"due": "due now", "not yet": "not yet open", "checked": "checked", "lapsed": "lapsed unchecked"}


@pytest.fixture
def open_list(open_page, sample_town):
    """Opens a list page by its name and link: ``open_list("due", "#state=all")``; waits until the list stands."""
    visits = []

    def opened(name, link="", folder=None, **options):
        visit = open_page(folder or sample_town.folder, name=f"{name}.html", link=link, **options)
        visits.append(visit)
        visit.until("document.querySelector('table.rows, .none') !== null")
        return visit

    yield opened
    for visit in visits:
        assert (visit.failed, visit.messages) == ([], [])


def cells(page, table="table.rows"):
    """The texts of a list, a row a list; a blank is a dash."""
    script = """(at) => [...document.querySelectorAll(`${at} tbody tr`)].map(
        (row) => [...row.cells].map((cell) => cell.textContent.trim()))"""
    return page.evaluate(script, table)


def count_of(page):
    """What the caption says is shown."""
    return page.inner_text("table.rows caption")


def day(value):
    """A day as the English page writes it (CLDR en-GB: 3 Oct 2025, Sept for September)."""
    if pd.isna(value):
        return "–"
    month = "Sept" if value.month == 9 else f"{value:%b}"
    return f"{value.day} {month} {value.year}"


def due_shown(page):
    """What the due page shows of these; beside a count of issues a caution may stand, which another test reads."""
    return [[*(row[at] for at in (0, 1, 2, 4)), row[6].split()[0], row[8]] for row in cells(page)]


def due_told(rows):
    """What the due page says of rows of the answer: place, lateral, by when, state, open issues, warranty."""
    told = plain(rows)
    return [
        [place, row.lateral, day(by), STATES[row.state], str(int(row.open_issues)), row.warranty]
        for place, by, row in zip(place_of(rows), rows["check_by"], told.itertuples(), strict=True)
    ]


def test_due_is_what_the_command_line_says(open_list, sample_town):
    """Rows, order and words are those of ``due`` on the site's day; the switch shows those of ``due --all``."""
    visit = open_list("due")
    asked, every = (sample_town.book.due(sample_town.tables.as_of, all_states=all_states) for all_states in (False, True))
    assert len(every) > len(asked) > 0
    assert due_shown(visit.page) == due_told(asked)
    assert count_of(visit.page) == f"Shown {len(asked)} of {len(every)} checks"
    visit.page.get_by_label("Show", exact=True).select_option("all")
    assert count_of(visit.page) == f"{len(every)} checks"
    assert due_shown(visit.page) == due_told(every)
    assert "state=all" in visit.page.url


@pytest.mark.parametrize("state", ["due", "not yet", "checked", "lapsed"])
def test_due_can_be_asked_for_one_state_by_a_link(open_list, sample_town, state):
    """A link with a state shows the warranties in that state, no others."""
    visit = open_list("due", f"#state={state.replace(' ', '%20')}")
    every = sample_town.book.due(sample_town.tables.as_of, all_states=True)
    wanted = every[every["state"] == state]
    found = cells(visit.page) if len(wanted) else []
    assert sorted(row[8] for row in found) == sorted(wanted["warranty"])


def test_repeats_are_what_the_command_line_says(open_list, sample_town):
    """Rows and order are those of ``repeats``; kind, grade, state, days and times are told."""
    rows = plain(sample_town.book.repeats())
    visit = open_list("repeats")
    shown = cells(visit.page)
    assert [row[9] for row in shown] == rows["issue"].tolist()
    assert [row[2] for row in shown] == rows["kind"].tolist()
    assert [row[3] for row in shown] == [f"{grade} of 5" if grade else "none given" for grade in rows["grade"]]
    days = ["–" if days is None else str(int(days)) for days in rows["days_after_work"]]
    assert [row[5] for row in shown] == days
    assert [row[8] for row in shown] == [str(int(times)) for times in rows["times_seen"]]


@pytest.fixture(scope="module")
def histories(sample_town):
    """The issues of all laterals as ``history`` tells them."""
    return [issue for lateral in sample_town.tables.laterals["lateral"] for issue in sample_town.book.history(lateral)["issues"]]


def changed(histories, since, until):
    """What each issue's history says of a time: the group by issue, worked out from ``history`` without a page."""
    groups = {}
    for issue in histories:
        by_day = {event["day"]: event["state"] for event in issue["events"] if event["day"] <= until.isoformat()}
        before = [state for at, state in by_day.items() if at <= since.isoformat()]
        states = [*before[-1:], *(state for at, state in by_day.items() if at > since.isoformat())]
        moves = states if not before else [now for was, now in pairwise(states) if was != now]
        group = group_of(bool(before), moves, states)
        if group:
            groups[issue["issue"]] = group
    return groups


def group_of(was_known, moves, states):
    """Of one issue's states in order and those it moved into."""
    if not moves:
        return None
    if not was_known:
        return "new"
    if states[-1] in GONE:
        return "gone"
    if states[-1] == "returned":
        return "returned"
    trend = [state for state in moves if state in ("worse", "better")]
    return "worse" if trend[-1:] == ["worse"] else None


@pytest.mark.parametrize("since", [date(2025, 1, 31), date(2024, 6, 1), date(2025, 8, 15), date(1995, 1, 1)])
def test_changes_are_those_of_the_histories(open_list, sample_town, histories, since):
    """Each issue stands in the group that its events (``history``) put it in; the counts are those of the groups."""
    visit = open_list("changes", f"#since={since.isoformat()}")
    expected = changed(histories, since, sample_town.tables.as_of)
    counts = {name: sum(group == name for group in expected.values()) for name in GROUPS}
    assert sum(counts.values()) > 5
    buttons = visit.page.locator("#groups button")
    assert [int(buttons.nth(at).locator("strong").inner_text()) for at in range(4)] == list(counts.values())
    script = """() => new Promise((then) => sewermap.city.names((names) => sewermap.city.times((times) => {
        const { url, words, about } = sewermap, since = words.dayNumber(url.get("since")), until = words.dayNumber(about.as_of);
        then(sewermap.changesSince(times, since, until).map(({ issue, group }) => [names.issue(issue), group]));
    })))"""
    shown = visit.page.evaluate(script)
    assert dict(shown) == expected


def test_changes_start_a_year_before_the_sites_day(open_list, sample_town, histories):
    """Without a link the page tells of the year before; another day, typed in, is in the address bar and counted anew."""
    visit = open_list("changes")
    assert visit.page.input_value("#since") == "2025-01-31"
    before = visit.page.inner_text("#told")
    visit.page.fill("#since", "2025-09-01")
    visit.page.keyboard.press("Tab")
    assert "since=2025-09-01" in visit.page.url
    assert visit.page.inner_text("#told") != before
    expected = changed(histories, date(2025, 9, 1), sample_town.tables.as_of)
    assert visit.page.inner_text("#told").startswith(f"{len(expected)} issue")


def test_a_group_of_changes_is_listed_alone(open_list):
    """Pressing a count lists its rows, and says so to those who hear the page; pressing it again lists all."""
    visit = open_list("changes", "#since=2024-06-01")
    button = visit.page.locator("#groups button").first
    count = int(button.locator("strong").inner_text())
    button.click()
    button = visit.page.locator("#groups button").first
    assert button.get_attribute("aria-pressed") == "true"
    assert {row[0] for row in cells(visit.page)} == {"new"}
    assert count_of(visit.page).startswith(f"Shown {count} of ")
    button.click()
    assert "group" not in visit.page.url


def test_quality_counts_what_the_database_holds(open_list, sample_town):
    """Unplaced, rejected, contradictions, never scoped and assumed are counted as the tables have them; each is listed."""
    visit = open_list("quality")
    tables = sample_town.tables
    looked = set(tables.run_coverages.loc[tables.run_coverages["from_measure_m"].notna(), "lateral"])
    conflicts = tables.run_coverages["notes"].notna().sum() + tables.laterals["property_line_note"].notna().sum()
    expected = [
        int(tables.placed_observations["measure_m"].isna().sum()),
        len(sample_town.book.layer("rejects")),
        int(conflicts),
        int((~tables.laterals["lateral"].isin(looked)).sum()),
        int(tables.laterals["accuracy_assumed"].astype(bool).sum()),
    ]
    assert [int(told) for told in visit.page.locator("#counts strong").all_inner_texts()] == expected
    listed = visit.page.locator("#rows section").filter(has_text="Rows that were rejected").locator("tbody tr")
    assert listed.count() == expected[1]
    first = plain(tables.rejects.sort_values(["path", "row", "field"], kind="stable")).iloc[0]
    assert f"{first['path']}, row {first['row']}" in listed.first.inner_text()
    assert str(first["reason"]) in listed.first.inner_text()


def test_a_count_leads_to_its_list(open_list):
    """By keyboard: Enter on a count moves the focus to the title of its list; the address keeps its state."""
    visit = open_list("quality", "#rejected-find=observations")
    visit.page.locator("#counts a").nth(1).focus()
    visit.page.keyboard.press("Enter")
    assert visit.page.evaluate("document.activeElement.id") == "rejected"
    assert "rejected-find=observations" in visit.page.url


@pytest.mark.parametrize("name", ["due", "repeats", "changes"])
def test_rows_lead_to_the_property_and_the_map(open_list, name):
    """Each row has a link to its lateral's page and one to the map, which says what it will show."""
    visit = open_list(name, "#state=all" if name == "due" else "")
    row = visit.page.locator("table.rows tbody tr").first
    lateral = row.locator("a").first
    assert lateral.get_attribute("href") == f"property.html#lateral={lateral.inner_text()}"
    on_map = row.locator("a").last
    assert on_map.get_attribute("href").startswith(f"index.html#lateral={lateral.inner_text()}")
    assert on_map.get_attribute("aria-label").startswith("Show ")


def test_a_column_sorts_by_its_values_up_and_down(open_list):
    """A press on a heading sorts by value (days as days), says so, and is in the address bar; a second press turns it round."""
    visit = open_list("due", "#state=all")
    days = "[...document.querySelectorAll('table.rows tbody tr')].length"
    assert visit.page.evaluate(days) > 10
    heading = visit.page.get_by_role("button", name="Check by")
    heading.focus()
    visit.page.keyboard.press("Enter")
    up = [pd.to_datetime(row[2].replace("Sept", "Sep"), format="%d %b %Y") for row in cells(visit.page)]
    assert up == sorted(up)
    assert visit.page.locator("th[aria-sort]").get_attribute("aria-sort") == "ascending"
    visit.page.keyboard.press("Enter")
    down = [pd.to_datetime(row[2].replace("Sept", "Sep"), format="%d %b %Y") for row in cells(visit.page)]
    assert down == sorted(up, reverse=True)
    assert visit.page.locator("th[aria-sort]").get_attribute("aria-sort") == "descending"
    assert "sort=-check_by" in visit.page.url
    assert visit.page.evaluate("document.activeElement.textContent").startswith("Check by")


def test_finding_words_in_any_order(open_list, sample_town):
    """All words must be there, in any order, large or small; none found says so and hides the table."""
    visit = open_list("due", "#state=all")
    place, lateral = (cells(visit.page)[0][at] for at in (0, 1))
    visit.page.get_by_label("Find in this list").fill(f"{lateral.lower()} {place.split()[-1].upper()}")
    visit.until(f"document.querySelectorAll('table.rows tbody tr').length < {len(sample_town.tables.due)}")
    assert {row[1] for row in cells(visit.page)} == {lateral}
    visit.page.get_by_label("Find in this list").fill("no such thing")
    visit.until("document.querySelector('table.rows').hidden")
    assert visit.page.inner_text(".none").startswith(f"None of {len(sample_town.tables.due)} checks fits")


def test_a_phone_shows_a_row_as_a_card(open_list):
    """Each value has its title beside it, sorting is a choice, and nothing is wider than the screen, all states shown."""
    visit = open_list("due", "#state=all", **PHONE)
    cell = visit.page.locator("table.rows tbody td").nth(2)
    assert visit.page.evaluate("(cell) => getComputedStyle(cell, '::before').content", cell.element_handle()) == '"Check by"'
    visit.page.get_by_label("Sort by").select_option("-check_by")
    assert visit.page.locator("th[aria-sort]").get_attribute("aria-sort") == "descending"
    assert visit.page.evaluate("document.documentElement.scrollWidth") <= 360
    assert visit.page.get_by_role("table").count() == 1
    assert visit.page.get_by_role("row").count() > 10


def test_paper_has_all_rows(open_list):
    """A printed list is not cut at the page that was on the screen: rows beyond it are printed too."""
    visit = open_list("due", "#state=all")
    before = visit.page.locator("table.rows tbody tr").count()
    visit.page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    assert visit.page.locator("table.rows tbody tr").count() >= before
    assert visit.page.locator(".pager").is_hidden()


def test_a_stretch_to_look_at_is_told_in_the_users_unit_first(open_list, sample_town):
    """In feet with the metres beside; one foot is 0.3048 m by definition."""
    rows = sample_town.book.due(sample_town.tables.as_of, all_states=True)
    text = rows["left_to_look"].dropna().iloc[0]
    begin, end = (float(part) / 0.3048 for part in text.split(",")[0].removesuffix(" m").split("–"))
    told = {row[5] for row in cells(open_list("due", "#state=all").page)}
    assert any(one.startswith(f"{begin:.1f}–{end:.1f}\u00a0ft") and one.endswith(f"({text})") for one in told)


def test_a_cross_bore_is_never_listed_without_its_caution(open_list, sample_town):
    """Wherever a list names a suspected cross-bore, or counts one among open issues, it says to stop and whom to call."""
    rows = sample_town.book.due(sample_town.tables.as_of, all_states=True)
    marked = [row for row in cells(open_list("due", "#state=all").page) if "STOP: no cutting" in row[6]]
    assert len(marked) == int(rows["caution"].notna().sum()) > 0
    listed = cells(open_list("changes", "#since=1995-01-01").page)
    bores = [row for row in listed if row[3].startswith("cross-bore")]
    assert len(bores) > 0
    assert all("call the gas utility" in row[3] for row in bores)
