"""Filled rows of an invented town, Ottermarsh Quay, that show how the sheets are meant. They are never loaded from there."""

import datetime as dt

EXAMPLES: dict[str, tuple[dict[str, str | float | dt.date], ...]] = {
    "laterals": (
        {"lateral": "OQ-31", "street": "Heron Row", "address": "7", "property": "OQ-P7", "main": "M-4", "tie_in_distance": "18.2",
         "tie_in_from": "start"},
        {"lateral": "OQ-32", "street": "Heron Row", "address": "9", "property": "OQ-P9", "diameter": "4 in"},
    ),
    "referents": ({"lateral": "OQ-31", "name": "CO-1", "kind": "clean-out", "measure": "9.4"},),
    "runs": (
        {"run": "R-101", "lateral": "OQ-31", "ran_on": dt.date(2024, 5, 31), "unit": "ft", "launch": "building",
         "end_reading": "58.5", "reason": "check", "crew": "Ann"},
        {"run": "R-102", "lateral": "OQ-32", "ran_on": dt.date(2024, 6, 3), "unit": "m", "launch": "tie-in",
         "end_reading": "16.2"},
    ),
    "observations": (
        {"run": "R-101", "reading": "31.5", "kind": "roots", "clock_from": 4, "percent": 30, "remark": "at joint"},
        {"run": "R-101", "reading": "44' 6\"", "to_reading": "47", "kind": "sag", "percent": 20},
        {"run": "R-102", "note": "12.4 roots 30% at joint, 4 o'clock"},
    ),
    "legs": (
        {"lateral": "OQ-32", "reading": "0", "unit": "m", "bearing": 92.5},
        {"lateral": "OQ-32", "reading": "8.1", "unit": "m", "angle": 45, "hand": "left"},
        {"lateral": "OQ-32", "reading": "16.2", "unit": "m"},
    ),
    "located": (
        {"lateral": "OQ-32", "reading": "8.1", "unit": "m", "x": 500123.4, "y": 4000045.6, "depth": "1.4", "sigma": "0.3"},
    ),
    "works": ({"work": "W-12", "lateral": "OQ-31", "done_on": dt.date(2024, 6, 20), "kind": "root cutting", "by": "Ann"},),
    "warranties": (
        {"warranty": "G-12", "lateral": "OQ-31", "begins_on": dt.date(2024, 6, 20), "term": "P1Y", "work": "W-12"},
    ),
}  # fmt: skip
"""By section, rows by field: texts as they are typed, numbers and days as a spreadsheet keeps them."""
