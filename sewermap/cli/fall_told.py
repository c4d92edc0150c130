"""Fall, sags and bends of a lateral as lines of text."""

from __future__ import annotations

from typing import Any

from sewermap.line.bends import WITHIN
from sewermap.line.fall import FLAT
from sewermap.line.slope_texts import inches_per_foot, ratio_text
from sewermap.units import feet_and_inches

WHO_DECIDES = "local code and the authority decide"
NO_LEVELS = "slope unknown: neither inverts at both ends, nor heights, nor two depths are recorded"


def fall_told(findings: list[dict[str, Any]]) -> list[str]:
    """A headline that names the tables, and a line a finding; bends and distances that keep the rule are only counted."""
    tables = list(dict.fromkeys(row["against"] for row in findings if row["against"]))
    lines = [f"Fall and bends (against {' and '.join(tables)}; {WHO_DECIDES})" if tables else "Fall and bends"]
    if not any(row["what"] == "slope" for row in findings):
        lines.append(f"    {NO_LEVELS}")
    told = [row for row in findings if row["verdict"] != WITHIN]
    lines += ["    " + _line(row) for row in told]
    if len(told) < len(findings):
        lines.append(f"    {len(findings) - len(told)} of {sum(_of_rodding(row) for row in findings)} checks of bends and"
                     " distances between clean-outs keep the rule")  # fmt: skip
    return lines


def _of_rodding(row: dict[str, Any]) -> bool:
    return row["what"] in {"bends", "clean-out distance"}


def _line(row: dict[str, Any]) -> str:
    verdict = row["verdict"]
    if row["what"] == "slope" and verdict == FLAT:
        verdict = f"{verdict} {ratio_text(row['least_or_most'])}"
    elif _of_rodding(row) and row["least_or_most"] is not None:
        verdict = f"{verdict} {_size(row | {'value': row['least_or_most']})}"
    note = f" ({row['note']})" if row["note"] else ""
    return f"{row['what']} {_stretch(row)}: {', '.join(word for word in (_size(row), verdict) if word)}{note}"


def _stretch(row: dict[str, Any]) -> str:
    first, last = row["from_measure_m"], row["to_measure_m"]
    return f"at {first:.2f} m" if last is None else f"{first:.2f} to {last:.2f} m"


def _size(row: dict[str, Any]) -> str:
    value, what = row["value"], row["what"]
    if value is None:
        return ""
    if what == "slope":
        return f"{ratio_text(value)}, {inches_per_foot(value)}"
    if what == "bends":
        return f"{value:g} degrees"
    if what == "clean-out distance":
        return f"{value:.2f} m, {feet_and_inches(value)}"
    return f"{value * 1000:.0f} mm deep"
