import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sewermap.errors import LengthError, SourceError
from sewermap.line.fall_rules import fall_rules
from sewermap.line.slope_texts import inches_per_foot, ratio_text, slope_of

INCH_M = 0.0254


def least(rules, *inches, limit="least"):
    """The limits for sizes in inches."""
    return rules.limit(rules.slopes, limit, np.array(inches, float) * INCH_M)


@pytest.mark.parametrize(
    ("inches", "ratio", "words"),
    [
        ([1.25, 2, 2.5], "1:48", "1/4 in per ft"),
        ([3, 4, 5, 6], "1:96", "1/8 in per ft"),
        ([8, 10, 12], "1:192", "1/16 in per ft"),
    ],
)
def test_the_international_plumbing_code_in_ratios(inches, ratio, words):
    """International Plumbing Code, Table 704.1 (as adopted in Chicago's municipal code): 1:48, 1:96, 1:192 by size."""
    found = least(fall_rules(), *inches)
    assert [ratio_text(slope) for slope in found] == [ratio] * len(inches)
    assert [inches_per_foot(slope) for slope in found] == [words] * len(inches)


def test_what_no_table_says_goes_unsaid():
    """IPC 704.1 says nothing between 6 and 8 in, nor without a size; UPC 708 and 719.1 hold for all sizes."""
    rules = fall_rules()
    assert np.isnan(least(rules, 7, 2.75, np.nan)).all()
    assert rules.limit(rules.clean_outs, "bends", [0.1, np.nan, 0.3]).tolist() == [135, 135, 135]
    assert rules.limit(rules.clean_outs, "every", [np.nan]) == pytest.approx(100 * 0.3048)


def test_the_uniform_plumbing_code_has_two_limits():
    """Uniform Plumbing Code 708 (from a quotation): 1/4 in per ft; 1/8 with approval from 4 in on, and not below."""
    rules = fall_rules('slopes = "UPC 708"')
    assert least(rules, 3, 4, 6, np.nan) == pytest.approx([1 / 48] * 4)
    assert least(rules, 4, 6, limit="with_approval") == pytest.approx([1 / 96] * 2)
    assert np.isnan(least(rules, 3, np.nan, limit="with_approval")).all()


def test_chicago_asks_for_clean_outs_by_size():
    """Chicago's municipal code: every 50 ft up to 4 in; of larger pipes, and of bends, the table of ours says nothing."""
    rules = fall_rules('clean_outs = "Chicago"')
    assert rules.limit(rules.clean_outs, "every", [0.1, 0.15])[0] == pytest.approx(15.24)
    assert np.isnan(rules.limit(rules.clean_outs, "every", [0.15, np.nan])).all()
    assert np.isnan(rules.limit(rules.clean_outs, "bends", [0.1])).all()


def test_metric_sizes_are_the_sizes_they_stand_for():
    """75, 150 and 200 mm pipes count as 3, 6 and 8 in (common practice, no source); 175 mm as none of them."""
    rules = fall_rules()
    found = rules.limit(rules.slopes, "least", [0.065, 0.075, 0.1, 0.15, 0.175, 0.2])
    assert [ratio_text(slope) for slope in found] == ["1:48", "1:96", "1:96", "1:96", "", "1:192"]


def test_a_place_states_its_own_table():
    """A place's own entries replace ours wholly, may be in any unit, and bear the name that it gives."""
    rules = fall_rules(
        'slopes = "Ottermarsh Quay by-law 4"\nclean_outs = "by-law 5"\n[settings]\ndepth_sigma = "8 in"\n'
        '[[slope]]\nup_to = "150 mm"\nleast = "2 %"\n[[slope]]\nfrom = "151 mm"\nleast = "1:80"\nwith_approval = "10 mm per m"\n'
        '[[clean_out]]\nevery = "30 m"\nbends = 180\n'
    )
    assert (rules.slopes.name, rules.clean_outs.name) == ("Ottermarsh Quay by-law 4", "by-law 5")
    assert rules.limit(rules.slopes, "least", [0.1, 0.2]) == pytest.approx([0.02, 0.0125])
    assert rules.limit(rules.slopes, "with_approval", [0.2]) == pytest.approx([0.01])
    assert rules.limit(rules.clean_outs, "every", [0.1]) == pytest.approx([30])
    assert rules.depth_sigma_m == pytest.approx(0.2032)
    assert rules.invert_sigma_m == fall_rules().invert_sigma_m
    assert fall_rules('[[slope]]\nleast = "1:100"').slopes.name == "of this place"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("slopes = ", "no valid TOML"),
        ("slope = 3", "[[slope]]"),
        ("slope = [3]", "[[slope]]"),
        ("pipes = 3", "but not pipes"),
        ('slopes = "IPC"', "no table of ours, which are IPC 704.1, UPC 708"),
        ('clean_outs = "IPC 704.1"', "no table of ours, which are UPC 719.1, Chicago"),
        ("slopes = 704", "in quotation marks"),
        ('slopes = "UPC 708"\n[[slope]]\nleast = "1:48"', "another name"),
        ('[[slope]]\nup_to = "6 in"', "says no least"),
        ('[[slope]]\nleast = "1:48"\n[[slope]]\nleast = "steep"', "[[slope]] 2, least: 'steep' is no slope"),
        ('[[slope]]\nleast = "1:96"\nwith_approval = "1:48"', "steeper than least"),
        ('[[slope]]\nleast = "1:96"\nup_to = 6', "no unit"),
        ('[[slope]]\nleast = "1:96"\nup_to = "0 in"', "more than nothing"),
        ('[[slope]]\nleast = "1:96"\nfrom = "8 in"\nup_to = "6 in"', "no size"),
        ('[[slope]]\nleast = "1:96"\nsize = "8 in"', "has no size"),
        ('[[clean_out]]\nup_to = "6 in"', "says nothing"),
        ('[[clean_out]]\nevery = "-6 ft"', "0 or more"),
        ('[[clean_out]]\nbends = "135"', "number of degrees"),
        ("settings = 3", "must be a table"),
        ("[settings]\ncolour = 3", "has no colour"),
        ('[settings]\nsnap = "8"', "must be a number"),
        ("[settings]\nsnap = -8", "0 or more"),
        ("[settings]\ninvert_sigma = 0.05", "no unit"),
    ],
)
def test_a_wrong_rule_file_is_told(text, says):
    """Whatever is wrong with a rule file is one sentence that names the file and what is wrong."""
    with pytest.raises(SourceError) as told:
        fall_rules(text)
    assert says in str(told.value)
    assert str(told.value).startswith("the rule file 'fall'")


@pytest.mark.parametrize(
    ("text", "slope"),
    [
        ("1:48", 1 / 48), ("1 : 96", 1 / 96), ("1 in 192", 1 / 192), ("1/4 in per ft", 1 / 48), ('¼" per foot', 1 / 48),
        ("1/8 in/ft", 1 / 96), ("1/16 inch per foot", 1 / 192), ("2%", 0.02), ("1.5 percent", 0.015), ("10 mm/m", 0.01),
        ("1 cm per m", 0.01), ("0.5 in per ft", 1 / 24), ("0:1", 0.0),
    ],
)  # fmt: skip
def test_slopes_are_read_as_people_write_them(text, slope):
    """Ratios, lengths for a length and percents say the fall per length (1/4 in per ft is 1:48, from IPC 704.1's two forms)."""
    assert slope_of(text) == pytest.approx(slope, rel=1e-12)


@pytest.mark.parametrize(
    "text", ["", "48", "0.02", "1:0", "3:1", "-1:48", "1/4 per ft", "1/4 in per pint", "flat", None, 0.02, "120 %"]
)
def test_what_is_no_slope_is_refused(text):
    """A bare number could be a percent or a ratio, a slope that runs up is no limit, and steeper than 1:1 is a slip."""
    with pytest.raises(LengthError):
        slope_of(text)


@given(st.floats(1e-4, 1))
def test_slopes_go_to_text_and_back(slope):
    """A ratio text read again is the slope to three digits; inches per foot to a hundredth of an inch."""
    assert slope_of(ratio_text(slope)) == pytest.approx(slope, rel=0.006)
    assert slope_of(inches_per_foot(slope)) == pytest.approx(slope, abs=0.0051 / 12)
    assert ratio_text(-slope) == "-" + ratio_text(slope)


def test_the_page_shows_a_rule_file_that_works():
    """The example of docs/input.md is read, and says what the page says of it."""
    page = (Path(__file__).parents[2] / "docs" / "input.md").read_text(encoding="utf-8")
    rules = fall_rules(re.search(r"rule file `fall`.*?```toml\n(.*?)```", page, re.DOTALL)[1])
    assert (rules.slopes.name, rules.clean_outs.name) == ("UPC 708", "by-law 12, part 4")
    assert rules.limit(rules.clean_outs, "every", [0.1, 0.3])[0] == pytest.approx(80 * 0.3048)
    assert np.isnan(rules.limit(rules.clean_outs, "every", [0.3]))
    assert rules.depth_sigma_m == 0.3
