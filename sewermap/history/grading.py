"""Grades 1 (least) to 5 (worst) of defects, and of a lateral from its issues, each with the sentence that explains it.

A ranking for planning, no structural assessment. The grade of a size is read from a table (``grade_table``); a long stretch
and the bottom of the pipe make it worse. All by columns.
"""

from collections.abc import Callable

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sewermap.history.grade_table import BEST, CLOCK, NO_SIZE, PERCENT, WORST, GradeTable, grade_table
from sewermap.history.kinds import vocabulary

__all__ = ["GradeTable", "clock_hours", "grade_table", "grades", "lateral_grades"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Codes = NDArray[np.intp]
Texts = NDArray[np.object_]

HOURS = 12.0
_SLACK = 1e-6
"""A size that was reckoned from another unit is not to miss a figure of the table by its last digit."""


def grades(observations: pd.DataFrame, table: GradeTable | None = None) -> pd.DataFrame:
    """The grade of each observed defect, and why.

    ``observations`` has columns kind, percent (of the bore), clock_from, clock_to (hours, clockwise) and length_m (of a
    stretch; empty for a single place). Returns, with the same index, ``grade`` (1 to 5; empty for what is no defect) and ``why``
    (empty there too). Raises UnknownNameError for a kind that is none.

    >>> seen = {"kind": ["roots"], "percent": [40.0], "clock_from": [np.nan], "clock_to": [np.nan], "length_m": [np.nan]}
    >>> grades(pd.DataFrame(seen))["why"].tolist()
    ['roots filling 40 % of the bore: 4']
    """
    table = table or grade_table()
    codes = vocabulary().codes(observations["kind"])
    percent, start, end = (observations[name].to_numpy(float) for name in ("percent", "clock_from", "clock_to"))
    length_m = np.nan_to_num(np.abs(observations["length_m"].to_numpy(float)))
    hours = clock_hours(start, end)
    by_size, unknown = _by_size(codes, np.where(table.measure[codes] == PERCENT, percent, hours), table)
    longer = np.minimum(by_size + _steps_reached(length_m, table.longer_m, codes), WORST)
    grade = np.where(table.low[codes] & _at_bottom(start, end, hours, table.bottom), np.minimum(longer + 1.0, WORST), longer)

    why = _begins(codes, percent, hours, unknown, table)
    why = why + _chosen([_worse(step) for step in range(5)], longer - by_size, _lengths_told(length_m))
    why = why + np.where(grade > longer, ", at the bottom of the pipe" + _worse(1), "").astype(object)
    return _graded(observations.index, codes, grade, why)


def _graded(index: pd.Index, codes: Codes, grade: Floats, why: Texts) -> pd.DataFrame:
    cautions = np.array([f". {text}" if text else "" for text in vocabulary().caution], dtype=object)
    ends = np.array([f": {number}" for number in range(6)], dtype=object)[np.nan_to_num(grade).astype(np.intp)]
    told = np.where(vocabulary().is_defect[codes], why + ends + cautions[codes], np.nan)
    return pd.DataFrame({"grade": grade, "why": pd.Series(told, index=index, dtype="str")}, index=index)


def clock_hours(start: Floats, end: Floats) -> Floats:
    """Over how many hours of the clock a defect reaches, clockwise from the first to the second; empty where neither is given.

    One of the two alone is a single place (0 hours), and so is the same hour twice; but 12 to 12 is all round, as it is
    mostly written.

    >>> clock_hours(np.array([10.0, 3.0, 12.0, np.nan]), np.array([2.0, np.nan, 12.0, np.nan])).tolist()
    [4.0, 0.0, 12.0, nan]
    """
    reach = np.mod(end - start, HOURS)
    reach = np.where((start == HOURS) & (end == HOURS), HOURS, reach)
    return np.where(np.isnan(start) & np.isnan(end), np.nan, np.nan_to_num(reach))


def _at_bottom(start: Floats, end: Floats, hours: Floats, bottom: tuple[float, float]) -> Flags:
    """Whether any part of what reaches clockwise over these hours lies at the bottom."""
    first = np.mod(np.where(np.isnan(start), end, start), HOURS)
    inside = (first >= bottom[0]) & (first <= bottom[1])
    return np.asarray(inside | (np.mod(bottom[0] - first, HOURS) <= hours + _SLACK))


def _steps_reached(size: Floats, starts: Floats, codes: Codes) -> Floats:
    """How many of its kind's figures each size reaches; none for an unknown size."""
    reached = np.zeros(len(codes))
    for step in range(starts.shape[1]):
        reached += size + _SLACK >= starts[:, step][codes]
    return reached


def _by_size(codes: Codes, size: Floats, table: GradeTable) -> tuple[Floats, Flags]:
    """The grade by size alone, and where the size is unknown (then it is the middle of the kind's grades)."""
    size = np.where(table.measure[codes] == NO_SIZE, 0.0, size)
    unknown = np.isnan(size)
    step = np.maximum(_steps_reached(size, table.starts, codes) - 1.0, 0.0).astype(np.intp)
    return np.where(unknown, table.middle[codes], table.grade[codes, step]), unknown


def _begins(codes: Codes, percent: Floats, hours: Floats, unknown: Flags, table: GradeTable) -> Texts:
    """How each reason begins: what it is and how large."""
    halves = [says.partition("{size}") for says in table.says]
    before, after = (np.array([half[at] for half in halves], dtype=object)[codes] for at in (0, 2))
    nothing = np.full(len(codes), "", dtype=object)
    measure = table.measure[codes]
    sizes = np.where(
        measure == PERCENT, _texts(percent, _percent_told), np.where(measure == CLOCK, _texts(hours, _hours_told), nothing)
    )
    names = np.array(vocabulary().names, dtype=object)[codes]
    return np.where(unknown, names + " of unknown size, so the middle of its grades", before + sizes + after)


def _texts(figures: Floats, told: Callable[[float], str]) -> Texts:
    """A text for each figure, made once for each different one (to one decimal)."""
    codes, unique = pd.factorize(np.round(figures, 1))
    texts = np.array([*(told(float(figure)) for figure in unique), ""], dtype=object)
    return np.asarray(texts[codes])


def _percent_told(percent: float) -> str:
    return f"{percent:g} %"


def _hours_told(hours: float) -> str:
    if hours == HOURS:
        return "all round"
    return f"over {hours:g} hours of the clock" if hours else "at one place of the clock"


def _lengths_told(length_m: Floats) -> Texts:
    return _texts(length_m, ", along {:.1f} m".format)


def _worse(steps: int) -> str:
    return ("", " (one grade worse)", " (two grades worse)", " (three grades worse)", " (four grades worse)")[steps]


def _chosen(worse: list[str], steps: Floats, lengths: Texts) -> Texts:
    """What the length made of the grade; nothing where it changed nothing."""
    at = np.nan_to_num(steps).astype(np.intp)
    return np.where(at > 0, lengths + np.array(worse, dtype=object)[at], "")


def lateral_grades(issues: pd.DataFrame, table: GradeTable | None = None) -> pd.DataFrame:
    """The grade of each lateral from its issues, and why: the worst of those that count.

    ``issues`` has columns lateral, kind (defects), grade and state, in any order. A mended issue does not count; one that came
    back does. One without a grade counts as the middle of its kind's grades. A lateral all of whose issues are mended is 1.
    Returns columns lateral, grade, why, in order of lateral.

    >>> issues = pd.DataFrame({"lateral": ["A", "A"], "kind": ["crack", "roots"], "grade": [2.0, 4.0], "state": ["new", "worse"]})
    >>> lateral_grades(issues)["why"].tolist()
    ['roots: 4, the worst of 2 issues']
    """
    rows = pd.DataFrame({"lateral": issues["lateral"], "code": vocabulary().codes(issues["kind"])})
    middle = (table or grade_table()).middle[rows["code"]]
    rows["counts"] = (issues["state"] != "mended").to_numpy()
    rows["ungraded"] = issues["grade"].isna().to_numpy()
    rows["grade"] = np.where(rows["counts"], np.where(rows["ungraded"], middle, issues["grade"].to_numpy(float)), BEST)
    rows["warns"] = rows["counts"] & np.array([bool(text) for text in vocabulary().caution])[rows["code"]]
    order = ["lateral", "counts", "grade", "warns", "ungraded", "code"]
    rows = rows.sort_values(order, ascending=[True, False, False, False, True, True], kind="stable", ignore_index=True)
    by_lateral = rows.groupby("lateral", sort=True)
    first = rows.drop_duplicates("lateral").set_index("lateral")
    rows["worst"] = rows["counts"] & (rows["grade"] == by_lateral["grade"].transform("max"))
    sums = rows.groupby("lateral", sort=True)[["counts", "worst", "warns"]].sum()
    sums["mended"] = by_lateral.size() - sums["counts"]
    return pd.DataFrame({"lateral": sums.index, "grade": first["grade"].to_numpy(float), "why": _reasons(first, sums)})


def _reasons(first: pd.DataFrame, sums: pd.DataFrame) -> "pd.Series[str]":
    """The sentence for each lateral, out of its worst issue and the numbers of issues of each sort."""
    names = np.array(vocabulary().names, dtype=object)[first["code"]]
    grade = _texts(first["grade"].to_numpy(float), "{:g}".format)
    count, worst, warns, mended = (sums[name].to_numpy(np.int64) for name in ("counts", "worst", "warns", "mended"))
    told = np.where(first["ungraded"], names + ", which nobody graded, taken as " + grade, names + ": " + grade)
    among = np.where(count > 1, ", the worst of " + _counts(count) + " issues", ", the only issue")
    alike = np.where(worst > 1, ", and " + _counts(worst - 1) + " more of that grade", "")
    gone = np.where(mended > 0, "; " + _counts(mended) + " mended", "")
    told = np.where(count > 0, told + among + alike + gone, "no open issue" + gone)
    caution = " ".join(text for text in vocabulary().caution if text)
    return pd.Series(np.where(warns > 0, told + (". " + caution), told), dtype="str")


def _counts(numbers: NDArray[np.int64]) -> Texts:
    return _texts(numbers.astype(float), "{:g}".format)
