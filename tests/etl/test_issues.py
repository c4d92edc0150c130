"""Issues through loads, recomputes and people's words, on both engines."""

import itertools

import pandas as pd
import pytest

import sewermap
from sewermap.book import Book
from sewermap.errors import UnknownNameError

PLAN = """
crs = "EPSG:26910"
[laterals]
from = "laterals.gpkg"
tie_in = "start"
[runs]
from = "runs-*.csv"
[runs.defaults]
unit = "ft"
[observations]
from = "seen-*.csv"
[works]
from = "works*.csv"
"""
RUNS = {
    "A": ("2023-05-01", ["12.0,roots,40", "30.1,crack,"]),
    "B": ("2024-05-02", ["12.2,roots,60", "30.0,crack,"]),
    "C": ("2025-05-03", ["11.9,roots,30"]),
}


def write_run(town, name: str) -> None:
    """One run of L1 and what it saw, in files of their own."""
    day, seen = RUNS[name]
    town.csv(f"runs-{name}.csv", "run,lateral,ran_on,end_reading", f"{name},L1,{day},55")
    town.csv(f"seen-{name}.csv", "run,reading,kind,percent", *(f"{name},{row}" for row in seen))


@pytest.fixture
def empty(engine_where: str, town) -> Book:
    """A database and a town's laterals and works: roots were cut in June 2024."""
    town.laterals()
    town.csv("works.csv", "work,lateral,done_on,kind", "W1,L1,2024-06-01,root cutting")
    return sewermap.create(engine_where, "EPSG:26910")


@pytest.fixture
def book(empty: Book, town) -> Book:
    """The same with all three runs."""
    for name in RUNS:
        write_run(town, name)
    empty.load(town.toml(PLAN))
    return empty


def clusters(book: Book) -> set[frozenset[str]]:
    """Which observations are one issue, whatever it is called."""
    seen = book.layer("issue_sightings")
    return {frozenset(rows) for _, rows in seen.groupby("issue")["observation"]}


def as_text(book: Book, *tables: str) -> list[pd.DataFrame]:
    """Tables as they are told."""
    return [pd.DataFrame(book.layer(name)).astype(str) for name in tables]


ROOTS = frozenset({"A@12.0:roots", "B@12.2:roots", "C@11.9:roots"})
CRACK = frozenset({"A@30.1:crack", "B@30.0:crack"})


def test_one_root_at_one_joint_is_one_issue(book: Book) -> None:
    """Three crews saw it at three readings; it came back after it was cut, and is told so."""
    assert clusters(book) == {ROOTS, CRACK}
    issues = book.layer("issues").set_index("kind")
    assert issues.loc["roots", ["issue", "state", "times_seen"]].tolist() == ["L1/2", "returned", 3]
    assert issues.loc["roots", ["after_work", "days_after_work"]].tolist() == ["W1", 336]
    assert bool(issues.loc["roots", "is_repeat"])
    assert issues.loc["crack", "state"] == "not seen"
    assert book.repeats()["issue"].tolist() == ["L1/2"]


def test_any_order_of_loading_gives_the_same_clusters(empty: Book, town, tmp_path) -> None:
    """Names may differ, for they are given as runs come in; what belongs together does not."""
    for at, order in enumerate(itertools.permutations(RUNS)):
        town_book = sewermap.create(tmp_path / f"order{at}.gpkg", "EPSG:26910") if at else empty
        for path in town.folder.glob("*-?.csv"):
            path.unlink()
        for name in order:
            write_run(town, name)
            town_book.load(town.toml(PLAN))
        assert clusters(town_book) == {ROOTS, CRACK}


def test_older_and_newer_runs_rename_nothing(empty: Book, town) -> None:
    """The names given for the middle run hold when an older and a newer one come in."""
    names = []
    for name in "BAC":
        write_run(town, name)
        empty.load(town.toml(PLAN))
        told = empty.layer("issue_sightings").set_index("observation")["issue"]
        names.append(told[["B@12.2:roots", "B@30.0:crack"]].tolist())
    assert names[0] == names[1] == names[2]


def test_recompute_from_nothing_gives_the_same_rows_and_names(book: Book) -> None:
    """All computed tables."""
    tables = ("issues", "issue_sightings", "lateral_states", "placed_observations", "run_coverages")
    before = as_text(book, *tables)
    book.recompute()
    for first, second in zip(before, as_text(book, *tables), strict=True):
        pd.testing.assert_frame_equal(first, second)


def test_a_split_by_hand_survives_recompute_and_new_runs(book: Book, town) -> None:
    """The observation stands alone, with who and why, and the others stay together under their name."""
    name = book.split("L1/2", "C@11.9:roots", who="Ida", why="another joint")
    alone = frozenset({"C@11.9:roots"})
    assert clusters(book) == {ROOTS - alone, alone, CRACK}
    book.recompute()
    town.csv("runs-D.csv", "run,lateral,ran_on,end_reading", "D,L1,2026-01-01,55")
    town.csv("seen-D.csv", "run,reading,kind,percent", "D,30.2,crack,")
    book.load(town.folder / "SOURCES.toml")
    assert clusters(book) == {ROOTS - alone, alone, CRACK | {"D@30.2:crack"}}
    told = book.layer("issue_sightings").set_index("observation").loc["C@11.9:roots"]
    assert told["issue"] == name == "L1/3"
    assert told["by_hand"] == "split from L1/2 by Ida: another joint"


def test_a_join_by_hand_survives_recompute(book: Book) -> None:
    """Two issues become one under the older name, and a correction of a remark does not undo it."""
    name = book.join("L1/1", "L1/2", who="Ida", why="the crack is where the roots come in")
    assert name == "L1/1"
    assert clusters(book) == {ROOTS | CRACK}
    book.recompute()
    assert clusters(book) == {ROOTS | CRACK}
    assert set(book.layer("issues")["issue"]) == {"L1/1"}


def test_a_split_after_a_join_has_the_last_word(book: Book) -> None:
    """Joined by one, split by another: the observation stands alone."""
    book.join("L1/1", "L1/2", who="Ida", why="one")
    book.split("L1/1", "B@12.2:roots", who="Omar", why="two")
    assert frozenset({"B@12.2:roots"}) in clusters(book)


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda book: book.join("L1/1", "L9/9", who="I", why="-"), "no issue is called 'L9/9'"),
        (lambda book: book.join("L1/1", "L1/1", who="I", why="-"), "named twice"),
        (lambda book: book.split("L1/2", "X@1:roots", who="I", why="-"), "no sighting of L1/2"),
        (lambda book: book.split("L1/2", "A@12.0:roots", who="I", why="-"), "founded L1/2"),
    ],
)
def test_words_that_cannot_be_meant_are_refused(book: Book, call, sentence: str) -> None:
    """In one sentence, and nothing is recorded."""
    with pytest.raises(UnknownNameError, match=sentence):
        call(book)
    assert book.layer("joins").empty
    assert book.layer("splits").empty


def test_the_crews_grade_is_kept_beside_ours(empty: Book, town) -> None:
    """Both are told; the crew's holds, for it saw the film."""
    town.csv("runs-A.csv", "run,lateral,ran_on", "A,L1,2023-05-01")
    town.csv("seen-A.csv", "run,reading,kind,percent,grade", "A,12,roots,80,2", "A,30,roots,80,")
    empty.load(town.toml(PLAN))
    issues = empty.defects().set_index("times_seen").sort_values("measure_m", ascending=False)
    assert issues["crew_grade"].tolist()[0] == 2
    assert issues["grade"].tolist() == [2, issues["own_grade"].tolist()[1]]
    assert issues["own_grade"].tolist()[0] == issues["own_grade"].tolist()[1] > 2
    assert issues["grade_why"].str.contains("80 %").all()


def test_a_reading_in_question_lies_where_the_runs_together_put_it(book: Book) -> None:
    """``where`` and the placed observations tell one place, on a lateral with several runs too."""
    placed = book.layer("placed_observations")
    for row in placed.itertuples():
        told = book.where("L1", row.reading, row.run)
        assert (told["measure_m"], told["sigma_m"], told["x"], told["y"]) == pytest.approx(
            (row.measure_m, row.sigma_m, row.x, row.y), abs=1e-9
        )


def test_an_unplaced_defect_is_an_issue_without_a_place(empty: Book, town) -> None:
    """A reading past its line is no reason to forget what was seen."""
    town.csv("runs-A.csv", "run,lateral,ran_on", "A,L1,2023-05-01")
    town.csv("seen-A.csv", "run,reading,kind", "A,12,roots", "A,290,collapse")
    empty.load(town.toml(PLAN))
    row = empty.defects(kind="collapse").iloc[0]
    assert pd.isna(row["measure_m"])
    assert row.geometry is None
    assert row["grade"] == 5
    assert len(empty.defects()) == 2
