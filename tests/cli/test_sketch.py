"""``sewermap sketch``: candidates for a line that no map draws, before one is taken."""

import pytest

from tests.cli.running import good, sewermap

KEYS = [
    "lateral", "method", "taken", "length_m", "sigma_m", "starts_at", "first_bearing", "first_bearing_from", "closed_on",
    "misclosure_m", "misclosure_share", "reason",
]  # fmt: skip


@pytest.fixture(scope="module")
def db(tmp_path_factory):
    """A lateral with legs and both ends known, and one of which nothing is known."""
    folder = tmp_path_factory.mktemp("sketch")
    (folder / "laterals.csv").write_text("lateral,address\nL1,1 Elm\nL2,2 Elm\n")
    (folder / "referents.csv").write_text("lateral,name,kind,x,y\nL1,T,tie-in,500000,4000000\nL1,B,building,500010,4000020\n")
    (folder / "legs.csv").write_text("lateral,reading,unit,angle,hand,bearing\nL1,0,m,,,0\nL1,20,m,90,right,\nL1,30,m,,,\n")
    names = ("laterals", "referents", "legs")
    (folder / "SOURCES.toml").write_text("".join(f'[{name}]\nfrom = "{name}.csv"\n' for name in names))
    where = folder / "town.gpkg"
    good(sewermap("create", "--crs", "EPSG:26910", "--db", where))
    good(sewermap("load", folder / "SOURCES.toml", "--db", where))
    return where


def test_candidates_stand_in_order_of_their_sigma(db):
    """The one that is taken first, each with its keys and its sigma; legs that fit close to nothing."""
    told = good(sewermap("sketch", "L1", "--format", "json", "--db", db))
    assert [list(row)[: len(KEYS)] for row in told.json] == [KEYS, KEYS]
    assert [(row["method"], row["taken"]) for row in told.json] == [("traverse", True), ("guessed", False)]
    assert told.json[0]["misclosure_m"] == pytest.approx(0.0, abs=1e-6)
    assert told.json[0]["sigma_m"] < told.json[1]["sigma_m"]
    assert "is ground to dig by" in told.err


def test_an_address_finds_it_and_what_is_missing_is_told(db):
    """By address; a lateral of which nothing is known says what would make a line."""
    row = good(sewermap("sketch", "2 elm", "--format", "json", "--db", db)).json[0]
    assert (row["lateral"], row["taken"], row["length_m"]) == ("L2", False, None)
    assert "tie_in_distance" in row["reason"]
    assert "traverse" in good(sewermap("sketch", "1 Elm", "--db", db)).out


def test_history_of_a_lateral_without_a_line_says_why(db):
    """It is known, but not where it lies; that is one line, and no unknown name."""
    told = sewermap("history", "L2", "--db", db)
    assert told.status == 1
    assert "is known, but not where it lies" in told.err
