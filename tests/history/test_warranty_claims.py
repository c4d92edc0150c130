"""What may be claimed: each condition alone, at the edges of each day; and the reasons."""

import numpy as np
import pandas as pd
import pytest

from sewermap.history.warranty import CLAIMS, warranty_rules
from tests.history.warranty_told import (
    NAN,
    claims_of,
    day,
    days,
    nothing,
    runs,
    seen,
    warranties,
)

YEAR = warranties({})  # 2024-03-01 to 2025-03-01 on all of L1
PART = warranties({"from_measure_m": 5.0, "to_measure_m": 10.0})
ACCEPTED = ("A-1", "2024-03-01", 0, 20, "acceptance")


def one_claim(
    recorded, found_on: str, measure_m: float = 8.0, as_of: str = "2026-01-01", accepted: tuple = ACCEPTED
) -> pd.DataFrame:
    """The claims where one issue was seen by one run of one day, after the acceptance run."""
    looked = runs(accepted, ("R-1", found_on, 0, 20))
    return claims_of(recorded, seen(("I-1", measure_m, looked.iloc[1:])), looked, as_of)


def test_what_came_up_within_the_term() -> None:
    """First seen within, on the stretch, not seen at the start: claimed, in a sentence, with the days."""
    row = one_claim(YEAR, "2024-11-03", as_of="2025-02-01").iloc[0]
    assert (row["warranty"], row["issue"], row["lateral"], row["acceptance_run"]) == ("G-1", "I-1", "L1", "A-1")
    assert row["reason"] == "first seen 2024-11-03 within the term; run A-1 of 2024-03-01 passed here and did not see it"
    assert [str(row[name])[:10] for name in ("first_seen", "ends_on", "notice_by")] == ["2024-11-03", "2025-03-01", "2025-03-01"]
    assert (row["days_left"], row["is_returned"]) == (28, False)


@pytest.mark.parametrize(
    ("found_on", "claimed"),
    [("2024-02-29", False), ("2024-03-02", True), ("2025-02-28", True), ("2025-03-01", True), ("2025-03-02", False)],
)
def test_first_seen_at_the_edges_of_the_term(found_on, claimed) -> None:
    """The last day is inside, the day after is not, nor is the day before the start."""
    early = ("A-1", "2023-12-01", 0, 20, "acceptance")
    assert len(one_claim(YEAR, found_on, accepted=early)) == claimed


def test_first_seen_on_the_first_day() -> None:
    """The day the term begins is inside, where it is not the acceptance run's own day."""
    early = ("A-1", "2024-02-28", 0, 20, "acceptance")
    assert len(one_claim(YEAR, "2024-03-01", accepted=early)) == 1
    assert len(one_claim(YEAR, "2024-03-01")) == 0


def test_seen_before_the_term_and_within_it() -> None:
    """What was known before the warranty began is not its fault, however often it is seen later."""
    looked = runs(("R-0", "2024-01-05", 0, 20), ACCEPTED, ("R-1", "2024-11-03", 0, 20))
    known = seen(("I-1", 8.0, looked.iloc[[0, 2]]), ("I-2", 9.0, looked.iloc[[2]]))
    assert claims_of(YEAR, known, looked, "2025-01-01")["issue"].tolist() == ["I-2"]


def test_what_is_dated_after_the_day_asked_is_not_known() -> None:
    """A sighting counts from its day on, and so does an acceptance run that saw it too."""
    assert [len(one_claim(YEAR, "2024-11-03", as_of=one)) for one in ("2024-11-02", "2024-11-03")] == [0, 1]
    looked = runs(("R-1", "2024-11-03", 0, 20), ("A-1", "2024-11-20", 0, 20, "acceptance"))
    known = seen(("I-1", 8.0, looked))
    assert [len(claims_of(YEAR, known, looked, one)) for one in ("2024-11-19", "2024-11-20")] == [1, 0]


@pytest.mark.parametrize(
    ("measure_m", "claimed"), [(4.99, False), (5.0, True), (10.0, True), (10.01, False), (12.0, False), (NAN, False)]
)
def test_on_the_stretch_and_off_it(measure_m, claimed) -> None:
    """Both ends of the stretch belong to it, a centimetre beyond does not; an issue without a place is nowhere."""
    assert len(one_claim(PART, "2024-11-03", measure_m)) == claimed


def test_another_lateral_is_another_matter() -> None:
    """A warranty of one lateral answers for nothing on another."""
    assert len(one_claim(warranties({"lateral": "L2"}), "2024-11-03")) == 0


def test_kinds() -> None:
    """No kinds named: every defect, and nothing that is no defect; kinds named: those."""
    looked = runs(ACCEPTED, ("R-1", "2024-11-03", 0, 20))
    issues, sightings = seen(*((name, 8.0, looked.iloc[1:]) for name in ("I-1", "I-2", "I-3")))
    issues["kind"] = pd.Series(["roots", "crack", "bend"], dtype="str")
    every = claims_of(YEAR, (issues, sightings), looked, "2025-01-01")
    some = claims_of(warranties({"kinds": "open joint, crack"}), (issues, sightings), looked, "2025-01-01")
    assert (every["issue"].tolist(), some["issue"].tolist()) == (["I-1", "I-2"], ["I-2"])


def test_present_in_the_acceptance_run() -> None:
    """Never claimed where the acceptance run saw it, or another run of the same day; a day later it is."""
    looked = runs(ACCEPTED, ("R-2", "2024-03-01", 0, 20), ("R-3", "2024-03-02", 0, 20))
    known = seen(("I-1", 8.0, looked.iloc[[0]]), ("I-2", 9.0, looked.iloc[[1]]), ("I-3", 10.0, looked.iloc[[2]]))
    assert claims_of(YEAR, known, looked, "2025-01-01")["issue"].tolist() == ["I-3"]


def test_the_last_acceptance_run_is_the_one() -> None:
    """Of several the last up to the end of the term counts, the end's day inside, and one after the end is none."""
    looked = runs(ACCEPTED, ("R-1", "2024-11-03", 0, 20), ("A-2", "2025-03-01", 0, 20, "acceptance"))
    known = seen(("I-1", 8.0, looked.iloc[[1, 2]]), ("I-2", 9.0, looked.iloc[[1]]))
    row = claims_of(YEAR, known, looked, "2025-06-01")
    assert (row["issue"].tolist(), row["acceptance_run"].tolist()) == (["I-2"], ["A-2"])
    late = looked.assign(ran_on=days(["2024-03-01", "2024-11-03", "2025-03-02"]))
    after = claims_of(
        YEAR, (known[0], known[1].assign(ran_on=days(["2024-11-03", "2025-03-02", "2024-11-03"]))), late, "2025-06-01"
    )
    assert (after["issue"].tolist(), set(after["acceptance_run"])) == (["I-1", "I-2"], {"A-1"})


@pytest.mark.parametrize(("ran_on", "stands"), [("2024-02-01", True), ("2024-03-31", True), ("2024-04-01", False)])
def test_a_run_that_stands_for_the_acceptance_run(ran_on, stands) -> None:
    """Without one the last run up to 30 days after the start stands for it, the thirtieth inside; else there is none."""
    looked = runs(("R-1", ran_on, 0, 20), ("R-2", "2024-11-03", 0, 20))
    row = claims_of(YEAR, seen(("I-1", 8.0, looked.iloc[[1]])), looked, "2025-01-01").iloc[0]
    if stands:
        assert row["acceptance_run"] == "R-1"
        assert row["reason"].endswith(f"run R-1 of {ran_on}, taken as the acceptance run, passed here and did not see it")
    else:
        assert pd.isna(row["acceptance_run"])
        assert row["reason"].endswith("no acceptance run; first appeared: run R-1 of 2024-04-01 passed here and did not see it")
    longer = warranty_rules("acceptance_days = 31")
    assert (
        claims_of(YEAR, seen(("I-1", 8.0, looked.iloc[[1]])), looked, "2025-01-01", rules=longer)["acceptance_run"].item()
        == "R-1"
    )


def test_first_looked_at_is_not_first_appeared() -> None:
    """Without an acceptance run, and without an earlier run over the place, nobody knows when it came; the reason says so."""
    looked = runs(("R-1", "2024-06-01", 0, 5), ("R-2", "2024-11-03", 0, 20))
    reason = claims_of(YEAR, seen(("I-1", 8.0, looked.iloc[[1]])), looked, "2025-01-01")["reason"].item()
    assert reason == "first seen 2024-11-03 within the term; no acceptance run; first looked at then: no earlier run passed here"


def test_an_acceptance_run_that_did_not_look_here() -> None:
    """It cannot say that the place was sound; what an earlier run says is told."""
    short = ("A-1", "2024-03-01", 0, 5, "acceptance")
    reason = one_claim(YEAR, "2024-11-03", accepted=short)["reason"].item()
    assert "; the acceptance run A-1 of 2024-03-01 did not look here; first looked at then: no earlier run passed here" in reason
    looked = runs(short, ("R-0", "2024-02-01", 6, 20), ("R-1", "2024-11-03", 0, 20))
    reason = claims_of(YEAR, seen(("I-1", 8.0, looked.iloc[[2]])), looked, "2025-01-01")["reason"].item()
    assert reason.endswith("did not look here; first appeared: run R-0 of 2024-02-01 passed here and did not see it")


def test_another_push_of_the_acceptance_day_looked_here() -> None:
    """Where the acceptance run stopped short and a push of the same day passed the place, that push is named."""
    looked = runs(("A-1", "2024-03-01", 0, 5, "acceptance"), ("A-2", "2024-03-01", 5, 20), ("R-1", "2024-11-03", 0, 20))
    row = claims_of(YEAR, seen(("I-1", 8.0, looked.iloc[[2]])), looked, "2025-01-01").iloc[0]
    assert row["reason"].endswith("run A-2 of 2024-03-01 passed here and did not see it")
    assert row["acceptance_run"] == "A-2"


@pytest.mark.parametrize(
    ("measure_m", "remark"), [(5.0, True), (5.2, True), (5.21, False), (7.5, False), (9.79, False), (9.8, True), (10.0, True)]
)
def test_near_an_end_of_a_part(measure_m, remark) -> None:
    """Within 2 sigma (0.2 m) of an end of a part it may lie outside it, and the reason says so."""
    reason = one_claim(PART, "2024-11-03", measure_m)["reason"].item()
    assert reason.endswith("; it may lie outside the warranted stretch; the day for notice, 2025-03-01, is past") == remark


def test_the_ends_of_the_line_are_no_doubt() -> None:
    """Where the stretch ends with the line, at the tie-in or the building, nothing lies beyond."""
    assert "may lie outside" not in one_claim(YEAR, "2024-11-03", 0.0)["reason"].item()
    assert "may lie outside" not in one_claim(YEAR, "2024-11-03", 20.0)["reason"].item()
    assert "may lie outside" not in one_claim(warranties({"from_measure_m": 5.0}), "2024-11-03", 20.0)["reason"].item()


def test_defects_along_the_line() -> None:
    """One that runs along is claimed where some of it lies on the stretch, and the reason tells a part that lies outside."""
    looked = runs(ACCEPTED, ("R-1", "2024-11-03", 0, 20))
    issues, sightings = seen(*((f"I-{at}", from_m, looked.iloc[1:]) for at, from_m in enumerate((1.0, 3.0, 4.9, 6.0, 11.0))))
    issues["to_measure_m"] = [4.9, 7.0, 5.1, 9.0, 12.0]
    table = claims_of(PART, (issues, sightings), looked, "2025-01-01").set_index("issue")["reason"]
    assert table.index.tolist() == ["I-1", "I-2", "I-3"]
    assert table["I-1"].endswith("; part of it lies outside the warranted stretch")
    assert table["I-2"].endswith("; it may lie outside the warranted stretch")
    assert table["I-3"].endswith("did not see it")


def test_a_stretch_of_one_place() -> None:
    """A repair noted at one measure answers for what lies within 2 sigma of it."""
    place = warranties({"from_measure_m": 8.0, "to_measure_m": 8.0})
    assert [len(one_claim(place, "2024-11-03", one)) for one in (7.79, 7.81, 8.19, 8.21)] == [0, 1, 1, 0]
    assert "may lie outside" in one_claim(place, "2024-11-03", 8.0)["reason"].item()


def test_nothing_is_claimed_on_an_empty_stretch() -> None:
    """A stretch beyond the line, or on a line of unknown length, holds nothing."""
    assert len(one_claim(warranties({"from_measure_m": 21.0}), "2024-11-03", 20.0)) == 0


def test_mended_by_now_and_late_for_notice() -> None:
    """Both are told, and neither hides the claim."""
    looked = runs(ACCEPTED, ("R-1", "2024-11-03", 0, 20))
    issues, sightings = seen(("I-1", 8.0, looked.iloc[1:]), ("I-2", 9.0, looked.iloc[1:]))
    issues["state"] = pd.Series(["mended", "new"], dtype="str")
    told = claims_of(YEAR, (issues, sightings), looked, "2025-03-02").set_index("issue")
    assert told.loc["I-1", "reason"].endswith("; mended by now; the day for notice, 2025-03-01, is past")
    assert told.loc["I-2", "reason"].endswith("did not see it; the day for notice, 2025-03-01, is past")
    assert told["days_left"].tolist() == [-1, -1]
    assert "past" not in one_claim(YEAR, "2024-11-03", as_of="2025-03-01")["reason"].item()


def test_the_day_for_notice_follows_the_terms() -> None:
    """Ten days after it was seen, counted from its first sighting within the term."""
    row = one_claim(warranties({"notice_by": "P10D after seen"}), "2024-11-03", as_of="2024-11-10").iloc[0]
    assert (str(row["notice_by"])[:10], row["days_left"]) == ("2024-11-13", 3)


def test_columns_of_claims() -> None:
    """They are those that are promised, in order, with their types, also for no rows."""
    full = one_claim(YEAR, "2024-11-03")
    empty = claims_of(
        nothing(YEAR),
        tuple(nothing(one) for one in seen(("I-1", 8.0, nothing(runs(ACCEPTED))))),
        runs(ACCEPTED),
        "2025-01-01",
        returned=True,
    )
    assert tuple(full) == tuple(empty) == CLAIMS
    assert full.dtypes.equals(empty.dtypes)
    assert full.dtypes["days_left"] == np.int64
    assert len(claims_of(YEAR, seen(("I-1", 8.0, nothing(runs(ACCEPTED)))), runs(ACCEPTED), str(day("2025-01-01")))) == 0
