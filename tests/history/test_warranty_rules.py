"""A place's rules of warranties, and the warranties that works open by them."""

import re
from pathlib import Path

import pandas as pd
import pytest

from sewermap.errors import SourceError
from sewermap.history.warranty import IN_FORCE, warranty_rules
from tests.history.warranty_told import NAN, NO_WORKS, RULES, day, in_force, nothing, warranties, works

ROOT = Path(__file__).parents[2]
SPOTS = warranty_rules(
    '[works."spot repair"]\nterm = "p2y"\ncheck_lead = 30\ncure = 21\nkinds = ["root ball", "open joint"]\n'
    'start_event = "the day of the repair"\nnotice_by = "p30d after end"\n[works.relining]\nterm = "P5Y"'
)


def test_common_rules() -> None:
    """Nine tenths, thirty days, and no work opens a warranty (common practice, no source)."""
    assert (RULES.check_share, RULES.acceptance_days, dict(RULES.works)) == (0.9, 30, {})


def test_a_place_says_what_differs() -> None:
    """What its file does not say stays; words for kinds and ways of writing become ours."""
    rules = warranty_rules("acceptance_days = 45")
    assert (rules.check_share, rules.acceptance_days) == (0.9, 45)
    spot = SPOTS.works["spot repair"]
    assert (spot.term, spot.check_lead, spot.cure, spot.kinds) == ("P2Y", 30, 21, ("roots", "open joint"))
    assert (spot.start_event, spot.notice_by) == ("the day of the repair", "P30D after end")
    assert (SPOTS.works["relining"].check_lead, SPOTS.works["relining"].start_event) == (60, "work done")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("check_share = ", "no valid TOML"),
        ("check_shares = 0.9", "check_shares is not known here; known are check_share, acceptance_days, works"),
        ("check_share = 0", "must be a share over 0 and up to 1"),
        ("check_share = 90", "must be a share over 0 and up to 1"),
        ("check_share = true", "must be a share"),
        ("acceptance_days = -1", "acceptance_days = -1 must be a whole number of days"),
        ("acceptance_days = 1.5", "must be a whole number of days"),
        ("works = 3", "works must be tables"),
        ('[works.painting]\nterm = "P1Y"', "'painting' is no kind of work; known are cleaning"),
        ("[works.relining]\ncure = 10", "needs a term"),
        ('[works.relining]\nterm = "a year"', r'\[works."relining"\]: .a year. is no term'),
        ("[works.relining]\nterm = 1", "term = 1 must be a text"),
        ('[works.relining]\nterm = "P1Y"\nkinds = "roots"', "must be a list of kinds"),
        ('[works.relining]\nterm = "P1Y"\nkinds = ["wombats"]', "'wombats' is no known kind"),
        ('[works.relining]\nterm = "P1Y"\nlead = 3', "lead is not known here"),
        ('[works.relining]\nterm = "P1Y"\nnotice_by = "soon"', "does not say by when notice"),
        ('[works.relining]\nterm = "P1Y"\ncheck_lead = "60"', "check_lead = '60' must be a whole number"),
    ],
)
def test_what_a_file_cannot_say(text, told) -> None:
    """Whatever is wrong is one sentence that says what and what would be right."""
    with pytest.raises(SourceError, match=told):
        warranty_rules(text)


DONE = works(
    ("W-1", "L1", "2024-05-05", "spot repair", 4.0, 6.0, "Corvane & Daughters"),
    ("W-2", "L1", "2024-05-06", "cleaning", NAN, NAN, "Corvane & Daughters"),
    ("W-3", "L2", "2024-05-07", "relining", NAN, NAN, NAN),
    ("W-4", "L2", "2024-05-08", "spot repair", 7.0, NAN, "Brook"),
)


def test_works_open_warranties_of_their_own() -> None:
    """Each work of a kind that the rules name opens one from its day, over its stretch, answered for by who did it."""
    table = in_force(nothing(warranties({})), DONE, SPOTS, day("2024-06-01")).set_index("warranty")
    assert sorted(table.index) == ["W-1·own", "W-3·own", "W-4·own"]
    first = table.loc["W-1·own"]
    assert (first["lateral"], first["work"], first["answerable"], first["kinds"]) == (
        "L1",
        "W-1",
        "Corvane & Daughters",
        "roots, open joint",
    )
    assert [str(first[name])[:10] for name in ("begins_on", "ends_on", "check_from")] == [
        "2024-05-05",
        "2026-05-05",
        "2026-04-05",
    ]
    assert (first["from_measure_m"], first["to_measure_m"], first["note"]) == (4.0, 6.0, "opened by the rule for spot repair")
    assert table.loc["W-3·own", ["from_measure_m", "to_measure_m", "kinds", "answerable"]].isna().all()
    assert table.loc["W-4·own", ["from_measure_m", "to_measure_m"]].tolist() == [7.0, 7.0]


def test_a_recorded_warranty_that_names_the_work_goes_before_its_own() -> None:
    """Where the papers say what a work is answered for, the rule opens nothing, also before those papers' own start."""
    papers = warranties({"work": "W-1", "begins_on": "2024-05-20"})
    named = in_force(papers, DONE, SPOTS, day("2024-06-01"))
    assert sorted(named["warranty"]) == ["G-1", "W-3·own", "W-4·own"]
    assert str(named.set_index("warranty").loc["G-1", "work_on"])[:10] == "2024-05-05"
    assert sorted(in_force(papers, DONE, SPOTS, day("2024-05-19"))["warranty"]) == ["W-3·own", "W-4·own"]


def test_works_of_tomorrow_open_nothing_today() -> None:
    """A work opens its warranty on its day, not on the day before."""
    assert [len(in_force(nothing(warranties({})), DONE, SPOTS, day(one))) for one in ("2024-05-04", "2024-05-05")] == [0, 1]


def test_what_is_not_said_is_common() -> None:
    """A row without term, lead and cure: a year, 60 and 10 days (common practice, no source); ended ones stay in the list."""
    row = in_force(warranties({}), NO_WORKS, RULES, day("2030-01-01")).iloc[0]
    assert (row["term"], row["check_lead"], row["cure"], str(row["ends_on"])[:10]) == ("P1Y", 60, 10, "2025-03-01")
    assert pd.isna(row["note"])


def test_a_rule_of_notice_that_cannot_be_read_is_told() -> None:
    """It is taken as the end of the term, and the note says so."""
    note = in_force(warranties({"notice_by": "soon", "begins_on": "2024-02-29"}), NO_WORKS, RULES, day("2024-06-01"))[
        "note"
    ].item()
    assert note.startswith("P1Y from 29 February 2024 ends on 28 February 2025")
    assert note.endswith("notice_by 'soon' cannot be read: the end of the term is taken")


def test_a_recorded_term_that_cannot_be_read_is_refused() -> None:
    """The loader lets none in; a database changed by hand is told what is wrong."""
    with pytest.raises(SourceError, match="in the table of warranties: 'a year' is no term"):
        in_force(warranties({"term": "a year"}), NO_WORKS, RULES, day("2024-06-01"))


def test_columns_of_what_is_in_force() -> None:
    """They are those that are promised, in order, also for no rows, and the days are days."""
    empty = in_force(nothing(warranties({})), NO_WORKS, SPOTS, day("2024-06-01"))
    assert (tuple(empty), len(empty)) == (IN_FORCE, 0)
    full = in_force(warranties({}), DONE, SPOTS, day("2024-06-01"))
    assert full.dtypes.equals(empty.dtypes)
    assert {str(full[name].dtype) for name in ("begins_on", "ends_on", "check_from", "check_by", "work_on")} == {"datetime64[s]"}


@pytest.mark.parametrize("page", ["docs/warranty.md", "docs/input.md"])
def test_the_example_of_a_page_is_a_rule_file(page) -> None:
    """What a page shows as a place's own file can be used as it stands."""
    blocks = re.findall(r"```toml\n(.*?)```", (ROOT / page).read_text(encoding="utf-8"), re.DOTALL)
    shown = [block for block in blocks if "check_share" in block]
    assert [list(warranty_rules(block).works) for block in shown] == [["spot repair"]]
