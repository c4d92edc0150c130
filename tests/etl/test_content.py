"""The content of a row: equal for equal rows on both engines, whatever the order of columns or their emptiness."""

import numpy as np
import pandas as pd
import shapely
from hypothesis import given
from hypothesis import strategies as st

from etl.content import contents, occurrence

TEXT = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=8)


def test_what_a_row_says_is_its_content_and_where_it_came_from_is_not() -> None:
    """Line numbers and load numbers may differ between equal rows."""
    rows = pd.DataFrame({"run": ["R", "R"], "source_row": [2, 9], "loaded_in": [1, 4], "id": [1, 2]})
    first, second = contents(rows)
    assert first == second


def test_an_empty_column_more_changes_nothing() -> None:
    """A column that a later schema adds leaves the contents of older rows alone."""
    rows = pd.DataFrame({"run": ["R"], "reading": ["1"]})
    more = rows.assign(weather=pd.Series([None], dtype="str"), depth_m=np.nan, geometry=pd.Series([None], dtype=object))
    assert contents(rows).tolist() == contents(more).tolist()


@given(st.lists(st.tuples(TEXT, TEXT, st.floats(allow_nan=False)), min_size=2, max_size=6))
def test_different_rows_differ_and_equal_rows_are_equal(rows: list[tuple[str, str, float]]) -> None:
    """Contents are equal exactly where all cells are, also when text moves from one cell to the next."""
    frame = pd.DataFrame(rows, columns=["a", "b", "n"]).astype({"a": "str", "b": "str"})
    digests = contents(frame)
    cells = [(a, b, n + 0.0) for a, b, n in rows]
    for i in range(len(rows)):
        for j in range(len(rows)):
            assert (digests[i] == digests[j]) == (cells[i] == cells[j])


def test_geometry_and_days_are_part_of_the_content() -> None:
    """Another vertex or another day is another row."""
    line = shapely.LineString([(0, 0), (1, 1)])
    bent = shapely.LineString([(0, 0), (1, 2)])
    days = pd.to_datetime(["2024-02-29", "2024-03-01"]).astype("datetime64[s]")
    frame = pd.DataFrame({"geometry": pd.Series([line, bent, line, line], dtype=object), "day": days[[0, 0, 1, 0]]})
    first, other_line, other_day, again = contents(frame)
    assert first == again
    assert len({first, other_line, other_day}) == 3


def test_equals_are_counted_in_order() -> None:
    """The second of two equal rows is number 1."""
    assert occurrence(pd.DataFrame({"a": ["x", "y", "x"]}), ["a"]).tolist() == [0, 0, 1]
