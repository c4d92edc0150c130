"""Warranties: on each newly laid line, and on some of the dearer works."""

import numpy as np
import pandas as pd

WARRANTED_WORKS = ("spot repair", "relining", "replacement")
TWO_YEARS = 0.25


def warranties_of(laterals: pd.DataFrame, works: pd.DataFrame, crews: tuple[str, ...], rng: np.random.Generator) -> pd.DataFrame:
    """One row a warranty: name, lateral (row), begins_on, term, check_lead, cure, answerable, work (name), from and to, kinds."""
    new = laterals[laterals["new"]]
    laying = pd.DataFrame(
        {
            "lateral": new.index.to_numpy(),
            "begins_on": new["installed_on"].to_numpy() + np.timedelta64(20, "D"),
            "term": rng.choice(["P1Y", "P2Y"], len(new), p=[1.0 - TWO_YEARS, TWO_YEARS]),
            "answerable": rng.choice(crews, len(new)),
            "start_event": "acceptance",
            "check_lead": 60.0,
            "cure": 10.0,
        }
    )
    dear = works[works["kind"].isin(WARRANTED_WORKS)]
    mending = pd.DataFrame(
        {
            "lateral": dear["lateral"].to_numpy(np.int64),
            "begins_on": dear["done_on"].to_numpy(),
            "term": "P1Y",
            "answerable": dear["by"].to_numpy(object),
            "start_event": "work done",
            "check_lead": 45.0,
            "cure": 21.0,
            "work": dear["name"].to_numpy(object),
            "from_measure_m": dear["from_measure_m"].to_numpy(float),
            "to_measure_m": dear["to_measure_m"].to_numpy(float),
        }
    )
    laying = laying.reindex(columns=mending.columns)
    table = pd.concat([laying.astype(object), mending.astype(object)], ignore_index=True).infer_objects()
    table["begins_on"] = table["begins_on"].astype("datetime64[s]")
    table = table.sort_values(["begins_on", "lateral"], ignore_index=True)
    table["name"] = [f"G-{number}" for number in range(101, 101 + len(table))]
    return table
