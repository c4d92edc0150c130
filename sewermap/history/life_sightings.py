"""Sightings of issues made comparable, one with the next."""

import pandas as pd

from sewermap.history.life_rules import LifeRules


def life_sightings(seen: pd.DataFrame, rules: LifeRules) -> pd.DataFrame:
    """Sightings (issue, run, kind, percent, crew_grade, own_grade) as ``lives`` compares them: issue, run, kind, size, grade.

    Grades of two makers do not compare: the crews' are taken where each sighting of an issue has one, else all by ours.
    """
    all_given = seen["crew_grade"].notna().groupby(seen["issue"]).transform("all")
    unit = pd.Series(rules.size, index=list(rules.names)).reindex(seen["kind"]).to_numpy()
    return pd.DataFrame(
        {
            "issue": seen["issue"],
            "run": seen["run"],
            "kind": seen["kind"],
            "size": seen["percent"].where(unit == "percent"),
            "grade": seen["crew_grade"].where(all_given, seen["own_grade"]),
        }
    )
