"""Grades: laws that hold for any table, what our table says, and a lateral from its issues.

No free worked example of a condition grade was found, so the grades themselves are common practice, no source; what is
tested are laws, and that the reason tells what was reckoned.
"""

import re
import tomllib
from importlib import resources
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sewermap.errors import SourceError
from sewermap.history.grading import clock_hours, grade_table, grades, lateral_grades
from sewermap.history.kinds import roles, vocabulary
from sewermap.units import METRES_PER_FOOT

OURS = resources.files("sewermap.history").joinpath("grades.toml").read_text(encoding="utf-8")
DEFECTS = [kind for kind, role in roles().items() if role == "defect"]
STATES = ("new", "same", "worse", "better", "not seen", "not looked", "mended", "returned")
ALWAYS_WORST = ("collapse", "hole", "cross-bore")
COLUMNS = ("kind", "percent", "clock_from", "clock_to", "length_m")

unhurried = settings(deadline=None, max_examples=80)
"""A busy machine breaks no law."""


def seen(*rows: tuple[object, ...]) -> pd.DataFrame:
    """Observations in the order of COLUMNS; what is left out at the end of a row is unknown."""
    full = [(*row, *[np.nan] * (len(COLUMNS) - len(row))) for row in rows]
    return pd.DataFrame(full, columns=list(COLUMNS)).astype({"kind": "str"} | dict.fromkeys(COLUMNS[1:], "float64"))


def issues(*rows: tuple[object, ...]) -> pd.DataFrame:
    """Issues: lateral, kind, grade, state."""
    frame = pd.DataFrame(rows, columns=["lateral", "kind", "grade", "state"])
    return frame.astype({"lateral": "str", "kind": "str", "grade": "float64", "state": "str"})


unknown_or = lambda most: st.one_of(st.just(np.nan), st.floats(0, most, allow_subnormal=False))  # noqa: E731 (a strategy's name)
clock = st.integers(1, 119).map(lambda tenths: tenths / 10)
kinds = st.sampled_from(DEFECTS)


@st.composite
def tables(draw: st.DrawFn) -> str:
    """A place's own table, in TOML: one for some kinds, and one for all others."""

    def rows() -> str:
        size, most = draw(st.sampled_from([("percent", 100), ("clock", 12)]))
        starts = sorted({0, *draw(st.lists(st.integers(1, most), max_size=4))})
        grade = sorted(draw(st.lists(st.integers(1, 5), min_size=len(starts), max_size=len(starts))))
        longer = sorted(draw(st.lists(st.integers(1, 9), max_size=3)))
        low = str(draw(st.booleans())).lower()
        return f'size = "{size}"\nfrom = {starts}\ngrade = {grade}\nlonger_m = {longer}\nlow = {low}\n'

    own = draw(st.lists(kinds, unique=True, max_size=3))
    return "".join(f'[kinds."{kind}"]\n{rows()}' for kind in own) + f"[any_other]\n{rows()}"


any_table = st.one_of(st.none(), tables())


@given(kinds, unknown_or(100), unknown_or(100), clock, st.floats(0, 11), unknown_or(20), any_table)
@unhurried
def test_never_better_for_a_larger_size(kind, one, other, start, reach, length_m, text) -> None:
    """Of two equal defects the larger never has the better grade, whatever the table."""
    small, large = (np.nan, np.nan) if np.isnan([one, other]).any() else sorted([one, other])
    end = (start + reach) % 12
    both = grades(seen((kind, small, start, end, length_m), (kind, large, start, end, length_m)), grade_table(text))["grade"]
    assert 1 <= both[0] <= both[1] <= 5


@given(kinds, unknown_or(100), clock, st.floats(0, 60), st.floats(0, 60), any_table)
@unhurried
def test_never_better_for_a_longer_spread(kind, percent, start, one, other, text) -> None:
    """Of two equal stretches the longer never has the better grade, and a stretch never a better one than a single place."""
    short, long = sorted([one, other])
    table = grade_table(text)
    three = grades(seen(*((kind, percent, start, np.nan, length_m) for length_m in (np.nan, short, long))), table)["grade"]
    assert three.is_monotonic_increasing


@given(kinds, unknown_or(100), clock, st.integers(0, 119), st.integers(0, 119), unknown_or(20), any_table)
@unhurried
def test_never_better_for_a_wider_reach(kind, percent, start, one, other, length_m, text) -> None:
    """Who reaches over more of the clock, from the same hour on, never has the better grade; nor who reaches all round."""
    narrow, wide = sorted([one / 10, other / 10])
    ends = [(start + reach) % 12 for reach in (narrow, wide)]
    rows = [(kind, percent, start, end, length_m) for end in ends] + [(kind, percent, 12, 12, length_m)]
    assert grades(seen(*rows), grade_table(text))["grade"].is_monotonic_increasing


@given(kinds, any_table)
@unhurried
def test_unknown_size_is_not_good_news(kind, text) -> None:
    """A defect of unknown size is no better than the middle of the grades that the table lists for it, and the reason says so."""
    said = tomllib.loads(text or OURS)
    row = said["kinds"].get(kind, said.get("any_other")) if "kinds" in said else said["any_other"]
    told = grades(seen((kind,)), grade_table(text)).iloc[0]
    assert told["grade"] >= np.median(row["grade"])
    assert ("unknown size" in told["why"]) == ("size" in row)


@given(st.permutations(list(range(6))), any_table)
@unhurried
def test_order_of_entry_does_not_matter(order, text) -> None:
    """Each row is graded by itself: rows in another order have the same grades and reasons, under their index."""
    rows = seen(
        ("roots", 40),
        ("crack", np.nan, 10, 2, 3),
        ("bend", 45),
        ("cross-bore",),
        ("sag", np.nan, np.nan, np.nan, 6),
        ("debris", 9),
    )
    table = grade_table(text)
    pd.testing.assert_frame_equal(grades(rows.iloc[order], table).sort_index(), grades(rows, table))


@given(kinds, st.integers(1, 60))
@unhurried
def test_unit_does_not_matter(kind, tenths) -> None:
    """A length that came in feet has the grade of the same length in metres, also at a figure of the table."""
    length_m = tenths / 10
    there_and_back = round(length_m / METRES_PER_FOOT, 9) * METRES_PER_FOOT
    both = grades(seen((kind, 20, 3, 9, length_m), (kind, 20, 3, 9, there_and_back)))
    assert both["grade"][0] == both["grade"][1]
    assert both["why"][0] == both["why"][1]


@given(unknown_or(100), unknown_or(12), unknown_or(12), unknown_or(50))
@unhurried
def test_what_is_always_worst(percent, start, end, length_m) -> None:
    """A collapse, a hole and a cross-bore are 5 whatever is known of them; a cross-bore says stop, under any table."""
    rows = seen(*((kind, percent, start, end, length_m) for kind in ALWAYS_WORST))
    told = grades(rows)
    assert told["grade"].tolist() == [5, 5, 5]
    for why in (told["why"][2], grades(rows, grade_table("[any_other]\ngrade = 1"))["why"][2]):
        assert "stop, no cutting, no jetting" in why
        assert "call the gas utility" in why


@pytest.mark.parametrize(
    ("row", "grade", "why"),
    [
        (("roots", 40), 4, "roots filling 40 % of the bore: 4"),
        (("roots", 39.9), 3, "roots filling 39.9 % of the bore: 3"),
        (("roots",), 3, "roots of unknown size, so the middle of its grades: 3"),
        (("roots", 40, 12, np.nan, 3.5), 5, "roots filling 40 % of the bore, along 3.5 m (one grade worse): 5"),
        (("roots", 80, 12, np.nan, 3.5), 5, "roots filling 80 % of the bore: 5"),
        (("crack", np.nan, 10, 2), 2, "crack over 4 hours of the clock: 2"),
        (("crack", np.nan, 12, 12, 3), 5, "crack all round, along 3.0 m (two grades worse): 5"),
        (("crack", 5, 3), 1, "crack at one place of the clock: 1"),
        (("open joint", np.nan, 3, 9), 4, "open joint over 6 hours of the clock, at the bottom of the pipe (one grade worse): 4"),
        (("open joint", np.nan, 9, 3), 3, "open joint over 6 hours of the clock: 3"),
        (("obstruction",), 4, "obstruction of unknown size, so the middle of its grades: 4"),
        (("collapse",), 5, "collapse, whatever its size: 5"),
        (("animal", 50), 2, "animal: 2"),
    ],
)
def test_the_reason_tells_what_was_reckoned(row, grade, why) -> None:
    """The sentence holds the kind, its size, what made it worse, and the grade."""
    told = grades(seen(row)).iloc[0]
    assert told["grade"] == grade
    assert told["why"] == why


def test_only_defects_are_graded() -> None:
    """Features and the look have neither grade nor reason; a frame of no rows gives one of no rows."""
    told = grades(seen(("bend", 45), ("under water", 50), ("crack",)))
    assert told["grade"].isna().tolist() == told["why"].isna().tolist() == [True, True, False]
    assert grades(seen()).shape == (0, 2)


def test_clock_hours() -> None:
    """Clockwise through 12; one hour alone is a place; 12 to 12 is all round; nothing known stays unknown."""
    start = np.array([10, 2, 3, np.nan, 12, 3, np.nan])
    end = np.array([2, 10, np.nan, 5, 12, 3, np.nan])
    np.testing.assert_array_equal(clock_hours(start, end), [4, 8, 0, 0, 12, 0, np.nan])


def test_our_table_is_sound() -> None:
    """Every defect has a table of its own, nothing else has, and no kind can come out of it ungraded."""
    table = grade_table()
    assert np.isfinite(table.middle).tolist() == vocabulary().is_defect.tolist()
    assert [vocabulary().names[at] for at in np.flatnonzero((table.measure == 0) & (table.middle == 5))] == [
        "hole",
        "collapse",
        "cross-bore",
    ]


def test_a_places_own_table_replaces_ours_wholly() -> None:
    """What the place's table says holds, and what it does not say is not filled in from ours."""
    own = grade_table(
        'bottom = [5, 7]\n[kinds."Root-Ball"]\nsize = "percent"\nfrom = [0, 90]\ngrade = [2, 3]\nlow = true\n'
        "[any_other]\ngrade = 1\n"
    )
    rows = seen(("roots", 89), ("roots", 90), ("roots", 40, 7), ("roots", 40, 8), ("roots", 40, np.nan, np.nan, 9), ("collapse",))
    told = grades(rows, own)
    assert told["grade"].tolist() == [2, 3, 3, 2, 2, 1]
    assert told["why"].tolist()[1:3] == [
        "roots, 90 % of the bore: 3",
        "roots, 40 % of the bore, at the bottom of the pipe (one grade worse): 3",
    ]


WRONG = {
    "[kinds.roots]\ngrade = 3": "lacks crack, open crack, ",
    "[kinds.rots]\ngrade = 3": "'rots' is no known kind; the nearest known are roots",
    "[kinds.bend]\ngrade = 3": "'bend' is a feature, and only defects are graded",
    "[kinds.sag]\ngrade = 3\n[kinds.belly]\ngrade = 2\n[any_other]\ngrade = 1": "two tables for sag",
    "[any_other]\ngrade = 0": "any_other: grade must be whole numbers from 1 to 5",
    "[any_other]\ngrade = 2.5": "grade must be whole numbers from 1 to 5",
    "[any_other]\ngrade = true": "grade must be numbers",
    "[any_other]\nlow = true": "grade must be",
    "[any_other]\ngrade = []": "grade must be whole numbers",
    "[any_other]\ngrade = [1, 2]": "without a size it has one grade for all",
    "[any_other]\ngrade = 1\nfrom = [0]": "without a size it has one grade for all",
    '[any_other]\nsize = "percent"\nfrom = [0, 9]\ngrade = [3, 2]': "grade must be numbers that do not fall",
    '[any_other]\nsize = "percent"\nfrom = [0, 0]\ngrade = [2, 3]': "from must rise from 0 to 100",
    '[any_other]\nsize = "percent"\nfrom = [5]\ngrade = [2]': "from must rise from 0",
    '[any_other]\nsize = "clock"\nfrom = [0, 13]\ngrade = [2, 3]': "from must rise from 0 to 12",
    '[any_other]\nsize = "percent"\nfrom = [0, nan]\ngrade = [2, 3]': "from must be numbers",
    '[any_other]\nsize = "percent"\ngrade = [2]': "from must rise",
    '[any_other]\nsize = "mm"\nfrom = [0]\ngrade = [2]': 'size must be "percent" or "clock"',
    '[any_other]\ngrade = 2\nsays = "about {size}"': "says must be a text",
    "[any_other]\ngrade = 2\nlonger_m = [0]": "longer_m must be lengths above 0",
    "[any_other]\ngrade = 2\nlonger_m = 3": "longer_m must be numbers",
    "[any_other]\ngrade = 2\nlow = 1": "low must be true or false",
    "[any_other]\ngrad = 2": "grad is no key",
    "any_other = 2": "any_other: must be a table",
    "kinds = 2": "kinds in a table of grades must be tables",
    "bottom = [8, 4]\n[any_other]\ngrade = 2": "bottom",
    "bottom = [4]\n[any_other]\ngrade = 2": "bottom",
    "[roots]\ngrade = 2": "but not roots",
    "[kinds": "no valid TOML",
}


@pytest.mark.parametrize("text", WRONG)
def test_a_table_that_could_break_a_law_is_refused(text) -> None:
    """What is wrong with a table is one sentence that names the kind."""
    with pytest.raises(SourceError) as error:
        grade_table(text)
    assert WRONG[text] in str(error.value)


any_issue = st.tuples(st.sampled_from("AB"), kinds, st.one_of(st.just(np.nan), st.integers(1, 5)), st.sampled_from(STATES))


@given(st.lists(any_issue, min_size=1, max_size=8), any_issue, st.randoms(use_true_random=False))
@unhurried
def test_a_lateral_is_never_better_for_one_more_defect(rows, more, random) -> None:
    """One more issue never betters a lateral, nor does the order of issues matter, for grade or reason."""
    before = lateral_grades(issues(*rows))
    after = lateral_grades(issues(*rows, more))
    both = before.merge(after, on="lateral", suffixes=("", "_after"))
    assert len(both) == len(before)
    assert (both["grade_after"] >= both["grade"]).all()
    shuffled = random.sample(rows, len(rows))
    pd.testing.assert_frame_equal(lateral_grades(issues(*shuffled)), before)


@given(kinds, st.integers(1, 5), st.sampled_from(STATES))
@unhurried
def test_mended_does_not_count_and_returned_does(kind, grade, state) -> None:
    """A single issue makes its lateral's grade in any state but mended, which leaves it at 1."""
    told = lateral_grades(issues(("A", kind, grade, state)))["grade"][0]
    assert told == (1 if state == "mended" else grade)


def test_a_laterals_reason() -> None:
    """The reason names the worst issue, how many count and how many are mended; a cross-bore that counts warns."""
    told = lateral_grades(
        issues(
            ("A", "crack", 2, "new"),
            ("A", "roots", 4, "returned"),
            ("A", "sag", 4, "mended"),
            ("A", "grease", 4, "not seen"),
            ("B", "collapse", np.nan, "not looked"),
            ("C", "roots", 5, "mended"),
            ("D", "roots", 3, "same"),
            ("E", "roots", 5, "same"),
            ("E", "cross-bore", 5, "new"),
            ("F", "cross-bore", 5, "mended"),
        )
    ).set_index("lateral")
    assert told["grade"].tolist() == [4, 5, 1, 3, 5, 1]
    assert told["why"].drop("E").tolist() == [
        "roots: 4, the worst of 3 issues, and 1 more of that grade; 1 mended",
        "collapse, which nobody graded, taken as 5, the only issue",
        "no open issue; 1 mended",
        "roots: 3, the only issue",
        "no open issue; 1 mended",
    ]
    assert told["why"]["E"].startswith("cross-bore: 5, the worst of 2 issues, and 1 more of that grade. It may be gas: stop, ")
    assert lateral_grades(issues()).columns.tolist() == ["lateral", "grade", "why"]


def test_the_pages_example_is_a_table() -> None:
    """The table that docs/grades.md shows is one that is taken, and the page says what a grade is not."""
    page = (Path(__file__).parents[2] / "docs" / "grades.md").read_text(encoding="utf-8")
    (block,) = re.findall(r"^```toml\n(.*?)^```", page, flags=re.MULTILINE | re.DOTALL)
    assert set(tomllib.loads(block)) == {"bottom", "kinds", "any_other"}
    assert grades(seen(("roots", 40, 6)), grade_table(block))["why"][0].startswith("roots in 40 % of the bore, at the bottom")
    assert "no structural assessment" in page
    assert "call the gas utility" in page
