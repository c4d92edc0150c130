"""The files of the town map that Python makes: what the list tells, folium's script, the page in two languages."""

import json
import re
import shutil
import subprocess

import numpy as np
import pandas as pd
import pytest

from sewermap.errors import SewermapError
from sewermap.web.packing import unpacked
from sewermap.web.site_index import days_since_epoch, site_index
from sewermap.web.site_tables import site_tables
from sewermap.web.town_details import details_file
from sewermap.web.town_page import background_source, files
from tests.web.invented_city import AS_OF, METRES, city_frames, city_tables


def columns(tables):
    """The columns of data/details.js."""
    text = details_file(tables, site_index(tables))
    return unpacked(json.loads(re.fullmatch(r"sewermap\.detailsData\((.*)\);\n", text, re.DOTALL)[1]))


def test_measures_are_those_of_the_table_to_a_millimetre():
    """Place, sigma and, where a defect runs along the line, its other end."""
    tables = city_tables(shuffled_by=3)
    issues, told = site_index(tables).issues, columns(tables)
    assert np.abs((told["measure"] - 1.0) / 1000 - issues["measure_m"]).max() <= 0.0005
    assert np.abs(told["sigma"] / 1000 - issues["sigma_m"]).max() <= 0.0005
    long = np.flatnonzero(issues["to_measure_m"].notna())
    assert told["long_issue"].tolist() == long.tolist()
    assert np.abs(told["long_to"] / 1000 - issues["to_measure_m"].to_numpy()[long]).max() <= 0.0005


def test_an_issue_without_a_place_has_no_measure():
    """It is told as 0, which no measure is: the tie-in itself is 1."""
    frames = city_frames()
    frames["issues"].loc[[0, 1], "measure_m"] = [np.nan, 0.0]
    tables = site_tables(frames, crs=METRES, title="Fernhollow", as_of=AS_OF)
    names, told = site_index(tables).issues["issue"].tolist(), columns(tables)
    first, second = city_frames()["issues"]["issue"].iloc[:2]
    assert told["measure"][names.index(first)] == 0
    assert told["measure"][names.index(second)] == 1


def test_days_between_the_first_and_the_last_are_kept():
    """Sightings on three days: the one in the middle is told, two of one day once, first and last not."""
    frames = city_frames()
    issue = frames["issues"].iloc[0]
    days = [issue["first_seen"], issue["last_seen"]]
    frames["issues"].loc[0, "last_seen"] = days[1] + pd.Timedelta(days=50)
    middle = days[1] + pd.Timedelta(days=20)
    seen = [days[0], middle, middle, days[1] + pd.Timedelta(days=50)]
    frames["issue_sightings"] = pd.DataFrame({"issue": issue["issue"], "ran_on": seen})
    tables = site_tables(frames, crs=METRES, title="Fernhollow", as_of=AS_OF)
    told = columns(tables)
    row = site_index(tables).issues["issue"].tolist().index(issue["issue"])
    assert told["again"][row] == 1 == told["again"].sum()
    assert told["seen_day"].tolist() == days_since_epoch(pd.Series([middle])).tolist()


def test_the_check_that_asks_first_is_told():
    """Of two windows the earlier; a checked or lapsed warranty asks for nothing."""
    frames = city_frames()
    frames["due"] = pd.DataFrame(
        {
            "lateral": ["L-0", "L-0", "L-1", "L-2"],
            "state": ["not yet", "due", "checked", "lapsed"],
            "check_from": pd.to_datetime(["2026-03-01", "2025-12-01", "2025-01-01", "2025-01-01"]),
        }
    )
    tables = site_tables(frames, crs=METRES, title="Fernhollow", as_of=AS_OF)
    asks = pd.Series(columns(tables)["asks_on"], index=site_index(tables).laterals["lateral"])
    assert asks[asks > 0].to_dict() == {"L-0": days_since_epoch(pd.Series(pd.to_datetime(["2025-12-01"])))[0]}


def test_the_same_tables_give_the_same_bytes():
    """Whatever the order of their rows."""
    made = [files(tables, site_index(tables)) for tables in (city_tables(), city_tables(shuffled_by=5))]
    assert made[0] == made[1]


def test_a_town_without_anything_has_a_page():
    """No rows, no CRS: the page opens on the world."""
    tables = site_tables({}, crs=None, title="Nowhere", as_of=AS_OF)
    assert "<h1>Town map</h1>" in files(tables, site_index(tables))["index.html"]


def test_the_page_speaks_another_language():
    """In French no English word of the map is left in the page."""
    tables = site_tables(city_frames(), crs=METRES, title="Fernhollow", as_of=AS_OF, language="fr")
    page = files(tables, site_index(tables))["index.html"]
    assert 'lang="fr"' in page
    assert "Tous les états" in page or "tous les états" in page
    assert not re.search(r"\b(Filters|Last seen|Street|Clear|Whole town)\b", page)


@pytest.mark.parametrize(
    "template",
    [
        "tiles.example.org/{z}/{x}/{y}",
        "ftp://a.example/{z}/{x}/{y}",
        "https://a.example/{z}/{x}",
        "https://a b;script-src *//{z}/{x}/{y}",
        "javascript:alert(1)",
    ],
)
def test_what_is_no_background_is_refused(template):
    """The address goes into the page's policy: what is no plain host is told, not written."""
    with pytest.raises(SewermapError, match="is no background"):
        background_source(template)


def test_folium_asks_for_nothing_else():
    """Its script makes the map and calls our page; no address of a network is in it, and node can read it."""
    tables = city_tables()
    script = files(tables, site_index(tables))["data/map.js"]
    assert "sewermap.townPage(map_town" in script
    assert "://" not in script
    if shutil.which("node"):
        assert subprocess.run(["node", "--check", "-"], input=script, text=True, capture_output=True, check=False).returncode == 0
