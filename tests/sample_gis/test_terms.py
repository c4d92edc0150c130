"""The installed town's warranties hold each case that a warranty team meets."""

import pandas as pd
import pytest
from dateutil.relativedelta import relativedelta

from sample_gis import data_folder, make_town
from sewermap.history.warranty_rules import warranty_rules
from sewermap.history.warranty_terms import notice_rule


@pytest.fixture(scope="module")
def town():
    """The installed town."""
    return make_town()


@pytest.fixture(scope="module")
def checks(town):
    """Warranties on whole lines with the first run of reason check on them, and the days of their windows, by dateutil."""
    table = town.warranties[town.warranties["work"].isna()]
    runs = town.runs[town.runs["reason"] == "check"].drop_duplicates("lateral")
    table = table.merge(runs[["lateral", "ran_on", "stopped"]], on="lateral")
    months = table["term"].map({"P1Y": 12, "P2Y": 24, "P11M": 11})
    pairs = zip(table["begins_on"], months, strict=True)
    table["ends_on"] = [begins_on + relativedelta(months=count) for begins_on, count in pairs]
    table["check_from"] = table["ends_on"] - pd.to_timedelta(table["check_lead"], unit="D")
    return table


def test_checks_stand_at_every_edge(checks):
    """Checks fell on the first and on the last day of a window, one day off either, inside and far outside."""
    first = (checks["ran_on"] - checks["check_from"]).dt.days
    last = (checks["ran_on"] - checks["ends_on"]).dt.days
    assert {0, -1} <= set(first)
    assert {0, 1} <= set(last)
    assert ((first > 3) & (last < -3)).any()
    assert (last > 30).any()
    assert (first < -30).any()


def test_some_checks_stopped_short(checks):
    """Among the checks inside a window are some that got to the end and some that did not."""
    inside = checks[checks["ran_on"].between(checks["check_from"], checks["ends_on"])]
    assert set(inside["stopped"]) == {True, False}


def test_leap_day_and_terms(town):
    """Two warranties begin on 29 February 2024, for one and for two years; terms are of 11 months, one year and two."""
    leap = town.warranties[town.warranties["begins_on"] == "2024-02-29"]
    assert set(leap["term"]) == {"P1Y", "P2Y"}
    assert set(town.warranties["term"]) == {"P11M", "P1Y", "P2Y"}


def test_no_warranty_begins_before_what_it_is_for(town):
    """A warranty on a line begins after it was laid; one on a work begins on the work's day."""
    table = town.warranties
    laid = town.laterals["installed_on"].to_numpy()[table["lateral"].to_numpy(int)]
    assert (table["begins_on"] >= laid)[table["work"].isna()].all()
    done = town.works.set_index("name")["done_on"].reindex(table["work"]).to_numpy()
    assert (table["begins_on"].to_numpy() == done)[table["work"].notna()].all()


def test_notice_kinds_and_events_vary(town):
    """Notice is by the end, by a day, some days after the end or after the sighting; kinds are limited on lines and on works;
    start events are of four sorts.
    """
    said = set(town.warranties["notice_by"].dropna())
    assert {notice_rule(text) for text in said} == said
    assert {"P30D after end", "P10D after seen"} < said
    assert town.warranties["notice_by"].isna().any()
    assert {"roots", "roots; offset joint; open joint"} == set(town.warranties["kinds"].dropna())
    assert len(set(town.warranties["start_event"])) == 4


def test_windows_are_open_when_the_data_end(checks):
    """On the last day of 2025 some windows are open."""
    assert ((checks["check_from"] <= "2025-12-31") & (checks["ends_on"] >= "2025-12-31")).any()


def test_office_forgot_some_works(town):
    """Spot repairs and relinings of which no warranty is recorded exist, and the town's rules open one for each such kind."""
    opened = warranty_rules((data_folder() / "rules" / "warranties.toml").read_text(encoding="utf-8")).works
    assert set(opened) == {"spot repair", "relining"}
    forgotten = town.works[town.works["kind"].isin(list(opened)) & ~town.works["name"].isin(town.warranties["work"])]
    assert set(forgotten["kind"]) == set(opened)
