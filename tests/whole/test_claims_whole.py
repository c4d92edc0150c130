"""Claims through the whole program: files in, answer out. Each case is a lateral of its own in an invented town."""

import datetime as dt

import geopandas as gpd
import pytest
import shapely

import sewermap
from sewermap.book import Book
from sewermap.cautions import STOP

LENGTH_M = 20.0
BEGINS, ENDS = "2024-03-01", "2025-03-01"
ACCEPTED = "2024-02-20"
"""The acceptance is before the warranty begins, as it mostly is (common practice, no source)."""

PLAN = """
crs = "EPSG:26910"
[laterals]
from = "laterals.gpkg"
tie_in = "start"
[laterals.defaults]
map_accuracy = 0.05
[runs]
from = "runs.csv"
[observations]
from = "seen.csv"
[works]
from = "works.csv"
[warranties]
from = "warranties.csv"
"""

FIRST_LOOK = "acceptance"
ROOTS_AT_6 = "14.0,roots,30"
"""As the crew writes it: 14.0 m from the house, so 6.0 m from the main."""

CASES: dict[str, tuple[dict[str, str], list[tuple[str, str, str]]]] = {
    # what is told: the warranty's cells that are not common, and runs (day, reason, what it saw)
    "first seen a day before it begins": ({}, [(ACCEPTED, FIRST_LOOK, ""), ("2024-02-29", "check", ROOTS_AT_6)]),
    "first seen on its first day": ({}, [(ACCEPTED, FIRST_LOOK, ""), (BEGINS, "complaint", ROOTS_AT_6)]),
    "first seen within": ({}, [(ACCEPTED, FIRST_LOOK, ""), ("2024-09-14", "sale", ROOTS_AT_6)]),
    "first seen on its last day": ({}, [(ACCEPTED, FIRST_LOOK, ""), (ENDS, "check", ROOTS_AT_6)]),
    "first seen a day after it ends": ({}, [(ACCEPTED, FIRST_LOOK, ""), ("2025-03-02", "check", ROOTS_AT_6)]),
    "present in the acceptance run": ({}, [(ACCEPTED, FIRST_LOOK, ROOTS_AT_6), ("2024-09-14", "check", ROOTS_AT_6)]),
    "present in an acceptance run within the term": (
        {}, [("2024-03-20", FIRST_LOOK, ROOTS_AT_6), ("2024-09-14", "check", ROOTS_AT_6)]
    ),
    "above the stretch": ({"to_measure": "5"}, [(ACCEPTED, FIRST_LOOK, ""), ("2024-09-14", "check", ROOTS_AT_6)]),
    "below the stretch": ({"from_measure": "7"}, [(ACCEPTED, FIRST_LOOK, ""), ("2024-09-14", "check", ROOTS_AT_6)]),
    "on the stretch": (
        {"from_measure": "5", "to_measure": "7"}, [(ACCEPTED, FIRST_LOOK, ""), ("2024-09-14", "check", ROOTS_AT_6)]
    ),
    "of another kind": ({"kinds": "crack"}, [(ACCEPTED, FIRST_LOOK, ""), ("2024-09-14", "check", ROOTS_AT_6)]),
    "of a kind it names": ({"kinds": "crack; roots"}, [(ACCEPTED, FIRST_LOOK, ""), ("2024-09-14", "check", ROOTS_AT_6)]),
    "first looked at": ({}, [("2024-09-14", "check", ROOTS_AT_6)]),
    "first appeared": ({}, [("2024-05-14", "check", ""), ("2024-09-14", "check", ROOTS_AT_6)]),
    "a run soon after stands for the acceptance": (
        {}, [("2024-03-31", "other", ROOTS_AT_6), ("2024-09-14", "check", ROOTS_AT_6)]
    ),
    "a run too late to stand for it": ({}, [("2024-04-01", "other", ROOTS_AT_6), ("2024-09-14", "check", ROOTS_AT_6)]),
    "a suspected cross-bore": ({}, [(ACCEPTED, FIRST_LOOK, ""), ("2024-09-14", "check", "14.0,cross-bore,")]),
    "back after the very work": (
        {"work": "W-1", "begins_on": "2024-03-04", "from_measure": "4", "to_measure": "8"},
        [("2023-06-01", "complaint", ROOTS_AT_6), ("2024-09-14", "check", ROOTS_AT_6)],
    ),
    "back after the very work, too late": (
        {"work": "W-2", "begins_on": "2024-03-04", "from_measure": "4", "to_measure": "8"},
        [("2023-06-01", "complaint", ROOTS_AT_6), ("2025-03-05", "check", ROOTS_AT_6)],
    ),
}  # fmt: skip
CLAIMED = {
    "first seen on its first day", "first seen within", "first seen on its last day", "on the stretch", "of a kind it names",
    "first looked at", "first appeared", "a run too late to stand for it", "a suspected cross-bore",
}  # fmt: skip
BACK = {"back after the very work"}


def first_look(case: str) -> dt.date:
    """The first day on which a run of the case saw its defect."""
    return min(dt.date.fromisoformat(day) for day, _, saw in CASES[case][1] if saw)


def write_town(folder) -> None:
    """One lateral a case, 40 m apart, all 20 m long, the main in the south; every run from the house to the main."""
    lines = [shapely.LineString([(500_000 + 40 * at, 4_000_000), (500_000 + 40 * at, 4_000_020)]) for at in range(len(CASES))]
    streets = ["Alder Street"] * len(CASES)
    columns = {"lateral": list(CASES), "street": streets, "address": [str(at) for at in range(1, len(CASES) + 1)]}
    gpd.GeoDataFrame(columns, geometry=lines, crs="EPSG:26910").to_file(folder / "laterals.gpkg")
    runs, seen, warranties = ["run,lateral,ran_on,unit,end_reading,reason"], ["run,reading,kind,percent"], []
    names = ("begins_on", "work", "from_measure", "to_measure", "kinds", "notice_by")
    for at, (case, (terms, looks)) in enumerate(CASES.items()):
        cells = {"begins_on": BEGINS} | terms
        warranties.append(",".join([f"G-{at}", f'"{case}"', *(f'"{cells.get(name, "")}"' for name in names)]))
        for look, (day, reason, saw) in enumerate(looks):
            runs.append(f'{at}-{look},"{case}",{day},m,20.0,{reason}')
            seen += [f"{at}-{look},{saw}"] if saw else []
    done = [(terms["work"], case) for case, (terms, _) in CASES.items() if "work" in terms]
    works = [f'{work},"{case}",2024-03-04,root cutting,4,8,Wendel' for work, case in done]
    (folder / "runs.csv").write_text("\n".join(runs), encoding="utf-8")
    (folder / "seen.csv").write_text("\n".join(seen), encoding="utf-8")
    head = "work,lateral,done_on,kind,from_measure,to_measure,by"
    (folder / "works.csv").write_text("\n".join([head, *works]), encoding="utf-8")
    head = f"warranty,lateral,{','.join(names)}"
    (folder / "warranties.csv").write_text("\n".join([head, *warranties]), encoding="utf-8")
    (folder / "SOURCES.toml").write_text(PLAN, encoding="utf-8")


@pytest.fixture
def book(engine_where: str, tmp_path) -> Book:
    """The town in a database."""
    write_town(tmp_path)
    book = sewermap.create(engine_where, "EPSG:26910")
    report = book.load(tmp_path / "SOURCES.toml")
    assert report.rejects.empty
    return book


def test_each_case_is_claimed_or_not_at_the_edges_of_each_day(book: Book) -> None:
    """What may be claimed, as of the day before each first look, of that day, and of a day long after: never what the acceptance
    run saw, what lies outside stretch, term or kinds; always what was first seen within.
    """
    long_after = dt.date(2026, 8, 1)
    days = {first_look(case) for case in CASES}
    days |= {day - dt.timedelta(days=1) for day in days} | {long_after}
    for day in sorted(days):
        told = book.claims(day)
        wanted = {case for case in CLAIMED if first_look(case) <= day}
        assert set(told["lateral"]) == wanted, day
        assert len(told) == len(wanted)
        assert not told["is_returned"].any()


def test_what_came_back_is_claimed_where_it_is_asked_for(book: Book) -> None:
    """With ``returned`` also what was seen again within the term after the work that the warranty names; from that day on."""
    for day, back in ((dt.date(2024, 9, 13), set()), (dt.date(2024, 9, 14), BACK), (dt.date(2026, 8, 1), BACK)):
        more = set(book.claims(day, returned=True)["lateral"]) - set(book.claims(day)["lateral"])
        assert more == back
    told = book.claims(dt.date(2026, 8, 1), returned=True).set_index("lateral")
    assert set(told.index[told["is_returned"]]) == BACK


def test_claims_say_who_by_when_and_why(book: Book) -> None:
    """Each claim has its days, the acceptance run or the word that there is none, and a suspected cross-bore says stop."""
    told = book.claims(dt.date(2025, 2, 28)).set_index("lateral")
    within = told.loc["first seen within"]
    assert [within[name].date().isoformat() for name in ("first_seen", "ends_on", "notice_by")] == ["2024-09-14", ENDS, ENDS]
    assert within[["kind", "days_left", "acceptance_run", "state", "cure"]].tolist() == ["roots", 1, "2-0", "new", 10]
    assert within["measure_m"] == pytest.approx(6.0, abs=0.2)
    assert within["geometry"].y == pytest.approx(4_000_006, abs=0.2)
    assert "no acceptance run; first looked at" in told.loc["first looked at", "reason"]
    assert "no acceptance run; first appeared" in told.loc["first appeared", "reason"]
    assert told["acceptance_run"].isna()[["first looked at", "first appeared"]].all()
    assert told["caution"].dropna().to_dict() == {"a suspected cross-bore": STOP}


def test_states_and_grades_are_those_of_the_day(book: Book, tmp_path) -> None:
    """A look after the day asked for changes nothing that is told of it: state, grade, size, days and count are as before it."""
    before = {day: book.claims(day) for day in (dt.date(2024, 9, 14), dt.date(2024, 10, 1))}
    (tmp_path / "more.csv").write_text(
        'run,lateral,ran_on,unit,end_reading,reason\nlate,"first seen within",2024-10-01,m,20.0,check\n', encoding="utf-8"
    )
    (tmp_path / "worse.csv").write_text("run,reading,kind,percent\nlate,14.0,roots,90\n", encoding="utf-8")
    plan = PLAN.replace('"runs.csv"', '["runs.csv", "more.csv"]').replace('"seen.csv"', '["seen.csv", "worse.csv"]')
    (tmp_path / "SOURCES.toml").write_text(plan, encoding="utf-8")
    book.load(tmp_path / "SOURCES.toml")
    columns = ["lateral", "issue", "state", "grade", "first_seen", "reason", "days_left"]
    day = dt.date(2024, 9, 14)
    assert book.claims(day)[columns].astype(str).equals(before[day][columns].astype(str))
    told = book.claims(dt.date(2024, 10, 1)).set_index("lateral").loc["first seen within"]
    was = before[dt.date(2024, 10, 1)].set_index("lateral").loc["first seen within"]
    assert (was["state"], told["state"]) == ("new", "worse")
    assert told["grade"] > was["grade"]
