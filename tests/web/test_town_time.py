"""The slider of the town map: what was known on a day, beside the history's events counted by Python."""

import pandas as pd
import pytest

from sewermap.web.site_index import days_since_epoch
from tests.web.town_words import listed, shown, whole_town

DAYS = ["2023-06-30", "2024-06-30", "2025-03-31"]


def known_on(town, day):
    """The last event of each issue up to a day, by issue, in the order of the index."""
    events = town.tables.issue_events
    until = events[pd.to_datetime(events["day"]) <= pd.Timestamp(day)]
    return until.drop_duplicates("issue", keep="last").set_index("issue")


def slide(visit, day):
    """Pull the slider with the keyboard until it tells of a day."""
    slider = visit.page.locator("#time")
    slider.press("Home")
    for _ in range(60):
        if visit.page.evaluate("sewermap.url.get('day')") == day:
            break
        slider.press("ArrowRight")
    visit.at_rest()
    assert visit.page.evaluate("sewermap.url.get('day')") == day


@pytest.mark.parametrize("day", DAYS)
def test_counts_and_list_are_those_of_the_day(open_town, sample_town, day):
    """Issues known on the day that were not mended then, of all known then; the list holds exactly these."""
    visit = open_town()
    slide(visit, day)
    known = known_on(sample_town, day)
    shown_then = known[known["state"] != "mended"]
    assert 0 < len(known) < len(sample_town.index.issues)
    assert shown(visit)[:2] == [len(shown_then), len(known)]
    whole_town(visit)
    assert sorted(sample_town.index.issues["issue"].iloc[listed(visit)]) == sorted(shown_then.index)


def test_the_day_is_told_in_words(open_town):
    """Beside the slider and to a screen reader; at its right end it is off and says so."""
    visit = open_town()
    slide(visit, "2024-06-30")
    assert visit.page.inner_text("#time-told") == "What was known on 30 Jun 2024"
    assert visit.page.get_attribute("#time", "aria-valuetext") == "What was known on 30 Jun 2024"
    visit.page.locator("#time").press("End")
    visit.at_rest()
    assert visit.page.evaluate("location.hash") == ""
    assert visit.page.inner_text("#time-told") == "All that is known on 31 Jan 2026"


@pytest.mark.parametrize("grade", [3, 5])
def test_filters_look_at_the_grade_and_state_of_the_day(open_town, sample_town, grade):
    """By a link with a day, a grade and a state: the events of that day decide, not today's."""
    day = "2024-06-30"
    visit = open_town(f"#day={day}&grade={grade}&state=new")
    known = known_on(sample_town, day)
    wanted = known[(known["grade"] >= grade) & (known["state"] == "new")]
    assert shown(visit)[:2] == [len(wanted), len(known)]


def test_last_seen_is_that_of_the_day(open_town, sample_town):
    """With a day, the range of dates asks for the last sighting until then."""
    day = pd.Timestamp("2025-03-31")
    seen = sample_town.tables.issue_sightings
    last = seen[pd.to_datetime(seen["ran_on"]) <= day].groupby("issue")["ran_on"].max()
    wanted = last[(last >= pd.Timestamp("2024-02-01")) & (last <= pd.Timestamp("2024-12-31"))]
    today = sample_town.index.issues["last_seen"]
    assert len(wanted) != ((today >= pd.Timestamp("2024-02-01")) & (today <= pd.Timestamp("2024-12-31"))).sum()
    visit = open_town("#day=2025-03-31&since=2024-02-01&until=2024-12-31&state=all")
    assert shown(visit)[0] == len(wanted)


def test_repeats_are_those_of_the_day(open_town, sample_town):
    """An issue is a repeat since the day on which its state first was ``returned``."""
    day = pd.Timestamp("2024-12-31")
    events = sample_town.tables.issue_events
    back = events[(events["state"] == "returned") & (pd.to_datetime(events["day"]) <= day)]["issue"].unique()
    assert 0 < len(back) < sample_town.index.issues["is_repeat"].astype(bool).sum()
    visit = open_town("#day=2024-12-31&repeats=1&state=all&colour=repeat")
    assert shown(visit)[0] == len(back)


def test_laterals_are_drawn_as_they_were(open_town, sample_town):
    """Their last look on the day and their worst grade of the day decide the colour."""
    day = "2024-06-30"
    visit = open_town(f"#day={day}")
    coverages = sample_town.tables.run_coverages
    looked = coverages[coverages["from_measure_m"].notna() & (pd.to_datetime(coverages["ran_on"]) <= pd.Timestamp(day))]
    last = days_since_epoch(looked.groupby("lateral")["ran_on"].max().reindex(sample_town.index.laterals["lateral"]))
    visit.page.evaluate(
        "() => sewermap.city.times((times) => { window.then = times.at(sewermap.words.dayNumber('2024-06-30')); })"
    )
    assert visit.page.evaluate("() => [...window.then.scoped]") == last.tolist()


def test_the_slider_goes_by_the_ends_of_months(open_town):
    """Every stop is the last day of a month, and the last stop is the day that the site tells of."""
    visit = open_town()
    visit.page.locator("#time").press("Home")
    days = []
    for _ in range(5):
        days.append(visit.page.evaluate("sewermap.url.get('day')"))
        visit.page.locator("#time").press("ArrowRight")
    told = pd.to_datetime(pd.Series(days))
    assert told.dt.is_month_end.all()
    assert (told.dt.to_period("M").astype("int64").diff().dropna() == 1).all()
