import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sewermap.errors import LengthError, SewermapError
from sewermap.units import METRES_PER_FOOT, feet_and_inches, in_unit, length_m, lengths_m, unit_of

FORTY_FOUR_AND_A_HALF_FT = 13.5636
"""44 ft 6 in: 534 inches of 25.4 mm, exact by the definition of the inch (NIST Special Publication 811, appendix B)."""

metres = st.floats(min_value=-300, max_value=300, allow_nan=False)


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("44.5", "ft"),
        (44.5, "ft"),
        (np.float64(44.5), "feet"),
        ("44' 6\"", None),
        ("44'6", None),
        ("44 ft 6 in", None),
        ("44ft-6in", "m"),
        ("44 ft. 6 in.", None),
        ("44' and 6\"", None),
        ("44-6", "ft"),
        ("44-06", "FT"),
        ("44–6", "'"),
        ("44′ 6″", None),
        ("44’ 6”", None),
        ("44' 6''", None),
        ('534"', None),
        ("534 inches", "m"),
        ("43 ft 11 in", None),
        ("13.5636 m", "ft"),
        ("13,5636", "m"),
        ("13 m 56.36 cm", None),
        ("13563.6 MM", None),
        ("+ 1.35636e1", "m"),
    ],
)
def test_one_length_in_many_writings(text, unit):
    """However 44 feet 6 inches are written, they are 13.5636 m; and 43 feet 11 are 7 inches less."""
    less = 0.1778 if str(text).startswith("43") else 0.0
    assert length_m(text, unit) == pytest.approx(FORTY_FOUR_AND_A_HALF_FT - less, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("4 in", 4),
        ('4"', 4),
        ("101.6 mm", 4),
        ('4½"', 4.5),
        ("4 1/2 in", 4.5),
        ("4-1/2 in", 4.5),
        ("1/2 in", 0.5),
        ("1' 0 3/4\"", 12.75),
    ],
)
def test_diameters(text, inches):
    """A diameter may be written in inches, their fractions, or millimetres (an inch is 25.4 mm, NIST SP 811)."""
    assert length_m(text, None) == pytest.approx(inches * 0.0254, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1,234.5", 1234.5),
        ("1.234,5", 1234.5),
        ("1,234,567", 1234567),
        ("12,5", 12.5),
        ("1234,567", 1234.567),
        ("0,234", 0.234),
        (",5", 0.5),
    ],
)
def test_a_comma_is_read_where_it_means_one_thing(text, value):
    """Thousands marks and decimal commas are read wherever only one of the two is possible."""
    assert length_m(text, "m") == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "unit", "why"),
    [
        ("1,234", "m", "could mean 1.234 or 1234"),
        ("12 ft 3 m", None, "different units"),
        ("13 m 57", None, "different units"),
        ("5 in 3 ft", None, "different units"),
        ("44-6", "m", "only where the unit is feet"),
        ("44-6", None, "only where the unit is feet"),
        ("44-12", "ft", "12 in make one ft"),
        ("44 ft 13 in", None, "12 in make one ft"),
        ("44.5 ft 6 in", None, "has a fraction before"),
        ("1'000", None, "could mean two lengths"),
        ("44 6", "ft", "holds two numbers"),
        ("44.5", None, "no unit"),
        (44.5, None, "no unit"),
        ("44.5", "  ", "no unit"),
        ("44.5", "furlong", "no known unit"),
        ("44.5 fathoms", "ft", "no known unit"),
        ("far", "m", "is no length"),
        ("12.5.3", "m", "is no length"),
        ("1_000", "m", "is no length"),
        ("nan", "m", "is no length"),
        ("inf", "m", "is no length"),
        ("1e400", "m", "no finite length"),
        (math.inf, "m", "no finite length"),
        (math.nan, "m", "no length is given"),
        (None, "m", "no length is given"),
        (pd.NA, "m", "no length is given"),
        (" ", "m", "no length is given"),
        (True, "m", "is no length"),
        (dt.datetime(2026, 6, 5, tzinfo=dt.UTC), "ft", "made a date of it"),
        ("1/0 in", None, "fraction"),
        ("1 3/2 in", None, "fraction"),
    ],
)
def test_what_is_refused_says_why(text, unit, why):
    """A text that is no length, or could be two, is refused in words that a user can act on."""
    with pytest.raises(LengthError, match=why):
        length_m(text, unit)


def test_a_negative_length_is_read():
    """Negative lengths are read, feet and inches too: that a reading may not be negative is for the checks to say."""
    assert length_m("-3", "m") == -3
    assert length_m("−44' 6\"", None) == pytest.approx(-FORTY_FOUR_AND_A_HALF_FT)


@given(metres)
def test_feet_and_inches_come_back_to_the_inch(value):
    """A length written in feet and inches is read back to within half an inch."""
    assert abs(length_m(feet_and_inches(value), None) - value) <= 0.0127 + 1e-9


@given(metres, st.sampled_from(["ft", "m", "in", "cm", "mm"]), st.sampled_from(["{:.3f} {}", "{:.3f}{}", " {:.3f}  {}. "]))
def test_a_formatted_length_comes_back(value, unit, form):
    """A length formatted in any unit is read back to the last digit that was written."""
    text = form.format(in_unit(value, unit), unit)
    assert length_m(text, None) == pytest.approx(value, abs=0.0006 * length_m(1.0, unit))


@given(st.text(alphabet="0123456789.,-+ '\"ftinm/e½′″", max_size=12), st.sampled_from(["ft", "m", None, "x"]))
def test_any_text_is_a_finite_length_or_an_error_of_ours(text, unit):
    """Whatever is typed gives a finite number or a LengthError, and a column says the same as one text does."""
    column, reasons = lengths_m(pd.Series([text], dtype="str"), unit)
    alone, why = _said(text, unit)
    assert math.isfinite(alone) or why
    assert column[0] == pytest.approx(alone, rel=1e-15, nan_ok=True)
    assert (reasons[0] == why) if why and text.strip() else reasons.isna()[0]


def _said(text, unit):
    try:
        return length_m(text, unit), None
    except LengthError as error:
        return math.nan, str(error)


def test_a_column_keeps_order_index_and_each_rows_unit():
    """Each row is read in its own unit; an empty cell is missing without a reason; a refused one has a reason."""
    texts = pd.Series(["10", "10", "3' 3\"", "10", None, " ", "?", 10.0, True], index=range(5, 14), dtype=object)
    units = pd.Series(["m", "Feet", "m", None, "m", None, "m", "in", "m"])
    column, reasons = lengths_m(texts, units)
    np.testing.assert_allclose(column, [10, 3.048, 0.9906, np.nan, np.nan, np.nan, np.nan, 0.254, np.nan], rtol=1e-12)
    assert reasons.index.equals(texts.index)
    assert reasons.dtype == "str"
    assert reasons.isna().tolist() == [True, True, True, False, True, True, False, True, False]
    assert "no unit" in reasons[8]


@pytest.mark.parametrize(
    "column", [pd.Series([1, 2]), pd.Series([1.0, 2.0]), pd.Series(["1", " 2 "], dtype="str"), pd.Series(["1", 2])]
)
def test_columns_of_every_type_are_read(column):
    """Whole numbers, floats, texts and a mixture of them give the same metres."""
    assert lengths_m(column, "ft")[0].tolist() == [METRES_PER_FOOT, 2 * METRES_PER_FOOT]


@pytest.mark.parametrize("column", [pd.Series([True]), pd.Series([pd.Timestamp("2026-06-05")])])
def test_columns_that_hold_no_lengths_are_refused(column):
    """A column of yes and no, or of dates that a spreadsheet made, is refused row by row, never counted as numbers."""
    values, reasons = lengths_m(column, "ft")
    assert math.isnan(values[0])
    assert "is no length" in reasons[0]


def test_an_empty_column():
    """No rows in, no rows out."""
    values, reasons = lengths_m(pd.Series([], dtype="str"), "ft")
    assert len(values) == len(reasons) == 0


@pytest.mark.parametrize(
    ("word", "unit"),
    [("ft", "ft"), ("FEET", "ft"), ("foot", "ft"), ("'", "ft"), ("ft.", "ft"), ("m", "m"), ("Metre", "m"), ("meters", "m")],
)
def test_units_of_a_counter(word, unit):
    """The common names of feet and metres are known."""
    assert unit_of(word) == unit


@pytest.mark.parametrize("word", ["in", "mm", "", "yard", None, 3])
def test_what_is_no_unit_of_a_counter(word):
    """Inches belong to a diameter; anything else is refused by an error that a user's program can catch broadly."""
    with pytest.raises(SewermapError, match="write ft or m"):
        unit_of(word)
