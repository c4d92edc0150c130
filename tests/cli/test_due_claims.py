"""``due``, ``claims`` and what they share: keys, formats, days, order, and the caution at a suspected cross-bore."""

import csv
import datetime as dt
import io
import itertools
import re
import shutil

import pyogrio
import pytest

from sewermap.cautions import STOP
from tests.cli.running import good, sewermap
from tests.cli.test_answers import well_typed

DUE = ["warranty", "lateral", "property", "street", "begins_on", "ends_on", "check_from", "check_by", "state", "days_left",
       "last_run_on", "open_issues"]  # fmt: skip
CLAIMS = ["warranty", "issue", "lateral", "street", "kind", "grade", "first_seen", "ends_on", "notice_by", "reason"]
BUSY = "2024-06-01"
"""A day on which the sample town has checks and claims of all sorts."""


def told(town, *words: str):
    """The rows of an answer as JSON."""
    return good(sewermap(*words, "--format", "json", "--db", town.db)).json


@pytest.mark.parametrize(("command", "keys"), [("due", DUE), ("claims", CLAIMS)])
def test_the_keys_of_the_design_come_first(town, command, keys):
    """A top-level array whose rows begin with the design's keys, in their order; days, whole numbers and missing as promised."""
    rows = told(town, command, "--as-of", BUSY)
    assert len(rows) >= 5
    assert all(list(row)[: len(keys)] == keys for row in rows)
    assert well_typed(rows)
    assert all(isinstance(row["days_left"], int) and isinstance(row["cure"], int) for row in rows)
    for row in rows:
        for name in ("begins_on", "ends_on", "check_from", "check_by", "last_run_on", "first_seen", "notice_by"):
            assert row.get(name) is None or re.fullmatch(r"\d{4}-\d\d-\d\d", row[name])


@pytest.mark.parametrize("command", ["due", "claims"])
def test_all_formats_hold_the_same_rows(town, command):
    """CSV and GeoJSON say what JSON says; the table for people has as many lines, and nothing breaks on a day with no row."""
    words = [command, "--as-of", BUSY, "--db", town.db]
    rows = told(town, command, "--as-of", BUSY)
    cells = list(csv.DictReader(io.StringIO(good(sewermap(*words, "--format", "csv")).out)))
    assert cells == [{name: "" if value is None else str(value) for name, value in row.items()} for row in rows]
    features = good(sewermap(*words, "--format", "geojson")).json["features"]
    assert [feature["properties"]["warranty"] for feature in features] == [row["warranty"] for row in rows]
    assert all(feature["geometry"]["type"] == "Point" for feature in features)
    table = good(sewermap(*words)).out
    assert all(row["warranty"] in table for row in rows)
    assert f"\n{len(rows)} c" in table
    before = [command, "--as-of", "2001-01-01", "--db", town.db]
    assert good(sewermap(*before, "--format", "json")).json == []
    assert good(sewermap(*before, "--format", "geojson")).json["features"] == []
    assert good(sewermap(*before)).out.startswith("0 c")


def test_a_foreman_reads_where_by_when_and_what_is_left(town):
    """The table's columns in that order."""
    head = good(sewermap("due", "--as-of", BUSY, "--db", town.db)).out.splitlines()[0]
    assert re.split(r"\s{2,}", head)[:5] == ["place", "check by", "days left", "state", "left to look"]


def test_days_within_and_all(town):
    """No days ahead: only what is due; more days, more that are not yet; --all has every state that there is."""
    some = {
        days: {row["warranty"]: row for row in told(town, "due", "--as-of", BUSY, "--within", days)}
        for days in ("0", "60", "400")
    }
    assert {row["state"] for row in some["0"].values()} == {"due"}
    assert set(some["0"]) < set(some["60"]) < set(some["400"])
    soon = dt.date.fromisoformat(BUSY) + dt.timedelta(days=60)
    assert all(row["state"] == "due" or row["check_from"] <= soon.isoformat() for row in some["60"].values())
    every = told(town, "due", "--as-of", BUSY, "--all")
    assert {row["state"] for row in every} == {"not yet", "due", "checked", "lapsed"}
    assert all((row["checked_on"] is not None) == (row["state"] == "checked") for row in every)
    assert {row["warranty"] for row in every} >= set(some["400"])


def test_a_van_can_drive_the_list(town):
    """By street, and by house as people count: 2 before 10."""
    rows = told(town, "due", "--as-of", BUSY, "--all")
    order = [(row["street"], int(row["address"].split()[0])) for row in rows]
    assert order == sorted(order)
    assert len({row["street"] for row in rows}) >= 4


def test_a_route_has_the_same_rows_from_stop_to_stop(town):
    """--route: stops count the laterals from 1, warranties of one lateral share theirs, and no row is lost."""
    rows, toured = told(town, "due", "--as-of", BUSY, "--all"), told(town, "due", "--as-of", BUSY, "--all", "--route")
    assert sorted(row["warranty"] for row in rows) == sorted(row["warranty"] for row in toured)
    stops = list(dict.fromkeys((row["stop"], row["lateral"]) for row in toured))
    assert [stop for stop, _ in stops] == list(range(1, len({row["lateral"] for row in rows}) + 1))
    assert driven(toured) < 0.8 * driven(rows)


def driven(rows) -> float:
    """How long the way past all laterals is, as the crow flies."""
    places = [(row["x"], row["y"]) for row in rows]
    return sum(((a - c) ** 2 + (b - d) ** 2) ** 0.5 for (a, b), (c, d) in itertools.pairwise(places))


def test_without_a_day_it_is_today(town):
    """``due`` and ``claims`` without --as-of answer for the day of the call, and ``export`` writes just that."""
    for command in ("due", "claims"):
        assert told(town, command) == told(town, command, "--as-of", dt.date.today().isoformat())  # noqa: DTZ011


@pytest.mark.parametrize("suffix", ["csv", "gpkg"])
def test_both_can_be_exported(town, tmp_path, suffix):
    """``export OUT --table due`` and ``--table claims`` write the answer as of today."""
    for command in ("due", "claims"):
        out = tmp_path / f"{command}.{suffix}"
        good(sewermap("export", out, "--table", command, "--db", town.db))
        rows = told(town, command)
        if suffix == "csv":
            with out.open(encoding="utf-8", newline="") as file:
                assert [row["warranty"] for row in csv.DictReader(file)] == [row["warranty"] for row in rows]
        else:
            assert pyogrio.read_dataframe(out)["warranty"].tolist() == [row["warranty"] for row in rows]


def test_streets_count_the_laterals_that_are_due(town):
    """The roll-up's ``due`` is the number of laterals of the street that the due list of the day names as due."""
    due = {(row["street"], row["lateral"]) for row in told(town, "due", "--as-of", BUSY) if row["state"] == "due"}
    counts = {row["street"]: row["due"] for row in told(town, "streets", "--as-of", BUSY)}
    assert sum(counts.values()) == len(due) > 0
    assert counts == {street: sum(name == street for name, _ in due) for street in counts}


@pytest.mark.parametrize(
    "words",
    [["due", "--within", "-1"], ["due", "--as-of", "2024-02-30"], ["claims", "--as-of", "yesterday"], ["due", "--routes"]],
)
def test_wrong_usage_is_told(town, words):
    """Status 2, and nothing on standard output."""
    done = sewermap(*words, "--db", town.db)
    assert (done.status, done.out) == (2, "")


@pytest.fixture(scope="module")
def bored(town, tmp_path_factory):
    """The sample town where a run saw what may be a gas pipe, and saw it again after the line was replaced."""
    folder = tmp_path_factory.mktemp("bored")
    shutil.copy(town.db, folder / "town.gpkg")
    sheets = {
        "runs": ["run,lateral,ran_on,unit,end_reading", "X-1,L-0047,2025-07-01,m,12.0", "X-2,L-0047,2025-09-01,m,12.0"],
        "observations": ["run,reading,kind", "X-1,5.0,cross-bore", "X-2,5.0,cross-bore"],
        "works": ["work,lateral,done_on,kind", "W-X,L-0047,2025-08-01,replacement"],
    }
    plan = ['crs = "EPSG:26910"']
    for name, lines in sheets.items():
        (folder / f"{name}.csv").write_text("\n".join(lines), encoding="utf-8")
        plan.append(f'[{name}]\nfrom = "{name}.csv"')
    (folder / "SOURCES.toml").write_text("\n".join(plan), encoding="utf-8")
    good(sewermap("load", folder / "SOURCES.toml", "--db", folder / "town.gpkg"))
    return folder / "town.gpkg"


NAMED = {
    "due": ["due", "--as-of", "2026-05-05"],
    "claims": ["claims", "--as-of", "2026-05-05"],
    "defects": ["defects", "--kind", "cross-bore"],
    "repeats": ["repeats"],
    "history": ["history", "L-0047"],
    "where": ["where", "L-0047", "5.0", "--run", "X-1"],
}


@pytest.mark.parametrize("words", NAMED.values(), ids=NAMED)
def test_a_suspected_cross_bore_says_stop(bored, words):
    """In the answer for people; and for programs in ``caution``, empty where nothing is suspected."""
    assert good(sewermap(*words, "--db", bored)).out.count(STOP) >= 1
    answer = good(sewermap(*words, "--format", "json", "--db", bored)).json
    rows = answer if isinstance(answer, list) else [answer]
    assert {row["caution"] for row in rows} <= {STOP, None}
    assert any(row["caution"] == STOP for row in rows)
    text = good(sewermap(*words, "--format", "csv", "--db", bored)).out
    cautions = {row["caution"] for row in csv.DictReader(io.StringIO(text))}
    assert STOP in cautions
    assert cautions <= {STOP, ""}


QUIET = {
    "due": ["due", "--as-of", "2023-06-01"],
    "claims": ["claims", "--as-of", "2023-06-01"],
    "defects": ["defects", "--kind", "roots"],
    "history": ["history", "L-0059"],
    "where": ["where", "L-0059", "5.0", "--run", "BF-1049"],
}


@pytest.mark.parametrize("words", QUIET.values(), ids=QUIET)
def test_without_one_nothing_is_said(town, words):
    """Where no cross-bore is suspected nobody is told to stop."""
    done = good(sewermap(*words, "--db", town.db))
    assert STOP not in done.out + done.err
    assert STOP not in good(sewermap(*words, "--format", "json", "--db", town.db)).out
