"""An issue's name is given once."""

import pandas as pd

from etl.naming import named

NOBODY = pd.DataFrame(
    {"issue": pd.Series(dtype="str"), "lateral": pd.Series(dtype="str"), "founder_id": pd.Series(dtype="int64")}
)


def members(*rows: tuple[int, str, int, str, float]) -> pd.DataFrame:
    """Sightings: cluster, lateral, row of the observation, day, measure."""
    frame = pd.DataFrame(rows, columns=["cluster", "lateral", "observation_id", "ran_on", "measure_m"])
    return frame.assign(ran_on=pd.to_datetime(frame["ran_on"]), observation=frame["observation_id"].map("o{}".format))


def test_new_issues_are_numbered_in_the_order_of_first_sightings() -> None:
    """Within each lateral by day, then measure; the order of rows means nothing."""
    seen = members(
        (7, "A", 1, "2024-01-01", 9.0),
        (7, "A", 3, "2023-01-01", 9.1),
        (4, "A", 2, "2023-01-01", 2.0),
        (5, "B", 4, "2025-01-01", 1.0),
    )
    for order in (seen, seen.iloc[::-1]):
        done = named(order, NOBODY)
        assert done.names.to_dict() == {4: "A/1", 7: "A/2", 5: "B/1"}
        assert done.fresh.set_index("issue")["founder_id"].to_dict() == {"A/1": 2, "A/2": 3, "B/1": 4}


def test_older_and_newer_runs_rename_nothing() -> None:
    """A cluster keeps the name whose founder it holds, though an older sighting joined it; new clusters get new numbers."""
    first = named(members((0, "A", 1, "2024-01-01", 9.0)), NOBODY)
    later = members((3, "A", 1, "2024-01-01", 9.0), (3, "A", 2, "2022-01-01", 9.0), (1, "A", 5, "2021-01-01", 4.0))
    done = named(later, first.fresh)
    assert done.names.to_dict() == {3: "A/1", 1: "A/2"}
    assert done.fresh["issue"].tolist() == ["A/2"]


def test_where_two_issues_meet_the_older_name_stays() -> None:
    """The younger name is not given to anybody else."""
    known = pd.DataFrame({"issue": ["A/1", "A/2"], "lateral": ["A", "A"], "founder_id": [10, 20]})
    done = named(
        members((0, "A", 20, "2023-01-01", 9.0), (0, "A", 10, "2024-01-01", 9.0), (1, "A", 30, "2025-01-01", 1.0)), known
    )
    assert done.names.to_dict() == {0: "A/1", 1: "A/3"}


def test_nothing_seen_needs_no_name() -> None:
    """An empty lateral is no special case."""
    done = named(members(), NOBODY)
    assert done.names.empty
    assert done.fresh.empty
