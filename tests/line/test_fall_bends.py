import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from sewermap.line.bends import bends, one_a_place, rodding
from sewermap.line.fall_rules import fall_rules
from sewermap.line.reference import lines_from_geometries

FOOT_M = 0.3048
NO_LEGS = pd.DataFrame({"lateral": pd.Series([], dtype="str"), "reading_m": np.zeros(0), "angle": np.zeros(0)})
RULES = fall_rules()


def walked(*turns, step=5.0):
    """A line that turns by these degrees (left is more than 0), each after so many metres."""
    heading = np.radians(np.cumsum([90.0, *turns]))
    moves = step * np.column_stack([np.cos(heading), np.sin(heading)])
    return shapely.LineString(np.vstack([[0, 0], np.cumsum(moves, axis=0)]))


def drawn(*lines, legs=NO_LEGS):
    """The bends of laterals L1, L2 … with these lines."""
    return bends(
        pd.Series([f"L{at + 1}" for at in range(len(lines))], dtype="str"), lines_from_geometries(list(lines)), legs, RULES
    )


def places(*points):
    """Clean-outs of L1: (measure, surveyed) pairs."""
    table = pd.DataFrame(points, columns=["measure_m", "surveyed"]).astype({"measure_m": float, "surveyed": bool})
    return table.assign(lateral=pd.Series("L1", table.index, dtype="str"), sigma_m=0.1)


def held(line, clean_outs=(), legs=NO_LEGS, text=None, diameter=0.1):
    """The stretches of one lateral against the rule."""
    rules = fall_rules(text)
    length = pd.Series({"L1": lines_from_geometries([line]).length_m[0]})
    once = one_a_place(places(*[(at, True) for at in clean_outs]), 1.0)
    return rodding(length, once, drawn(line, legs=legs), pd.Series({"L1": diameter}), rules)


@pytest.mark.parametrize(
    ("turns", "total", "verdict"), [((45, 45, 45), 135, "within"), ((45, 45, 60), 150, "over"), ((45, -45, 45), 135, "within")]
)
def test_the_sum_of_bends(turns, total, verdict):
    """UPC 719.1 (Redwood City ordinance, 1995): 45+45+45 needs no clean-out, 45+45+60 needs one; left and right both count."""
    row = held(walked(*turns)).set_index("what").loc["bends"]
    assert row["value"] == pytest.approx(total)
    assert (row["verdict"], row["most"], row["against"]) == (verdict, 135, "table UPC 719.1")
    assert "bends from the drawn line" in row["note"]
    assert " + ".join(f"{abs(turn)}" for turn in turns) in row["note"]


def test_a_clean_out_begins_the_sum_anew():
    """A clean-out between the bends parts their sum; one at a bend parts it too, and the bend counts once."""
    line = walked(45, 45, 60)
    parted = held(line, [8.0]).query("what == 'bends'")
    assert parted["value"].tolist() == pytest.approx([45, 105])
    assert parted["verdict"].tolist() == ["within", "within"]
    assert parted[["from_measure_m", "to_measure_m"]].to_numpy().tolist() == [[0, 8], [8, 20]]
    assert held(line, [10.0]).query("what == 'bends'")["value"].tolist() == pytest.approx([45, 105])


def test_recorded_bends_go_before_drawn_ones():
    """Where legs give angles the drawing is not asked; a leg without an angle says nothing."""
    legs = pd.DataFrame({"lateral": ["L1"] * 4, "reading_m": [3.0, 6.0, 9.0, 12.0], "angle": [45, np.nan, 45, 60.0]})
    row = held(walked(90), legs=legs).set_index("what").loc["bends"]
    assert (row["value"], row["verdict"]) == (150, "over")
    assert "as recorded" in row["note"]
    assert drawn(walked(90), walked(90), legs=legs)["lateral"].tolist() == ["L1", "L1", "L1", "L2"]


@pytest.mark.parametrize(
    ("turn", "angle"),
    [(9.9, None), (10.1, 10.1), (14.6, 22.5), (30.6, 30.6), (37.2, 45), (52.9, 45), (60, 60), (97.9, 90), (100, 100)],
)
def test_a_drawn_turn_is_the_fitting_it_is_near(turn, angle):
    """Turns under 10 degrees are none; within 8 degrees of 22.5, 45 and 90 they are that fitting (common practice, no source)."""
    for sign in (1, -1):
        assert drawn(walked(sign * turn))["angle"].tolist() == pytest.approx([] if angle is None else [angle])


@settings(max_examples=50)
@given(st.lists(st.floats(-170, 170), max_size=6), st.floats(0, 360), st.floats(0.1, 50))
def test_bends_do_not_depend_on_where_a_line_lies(turns, way, step):
    """A line turned, moved and drawn with a vertex twice has the same bends; drawn backwards, the same from its other end."""
    line = walked(*turns, step=step)
    found = drawn(line)
    moved = shapely.affinity.translate(shapely.affinity.rotate(line, way, origin=(0, 0)), 1000, -500)
    coords = shapely.get_coordinates(moved)
    again = drawn(shapely.LineString(np.repeat(coords, 2, axis=0)))
    np.testing.assert_allclose(again[["measure_m", "angle"]], found[["measure_m", "angle"]], atol=1e-6)
    back = drawn(shapely.reverse(line)).iloc[::-1]
    np.testing.assert_allclose(step * (len(turns) + 1) - back["measure_m"], found["measure_m"], atol=1e-6)
    np.testing.assert_allclose(back["angle"], found["angle"], atol=1e-6)


def test_heights_and_neighbours_make_no_bend():
    """A riser is no turn in plan, and where one line ends and the next begins there is none."""
    riser = shapely.LineString([(0, 0, 0), (0, 5, 0), (0, 5, 3), (0, 9, 3)])
    assert len(drawn(riser, walked(), walked())) == 0
    assert drawn(walked(), walked(90), walked())["lateral"].tolist() == ["L2"]


def test_the_way_between_clean_outs():
    """UPC 719.1: every 100 ft. Both ends of the line end a stretch, but are no clean-outs; within 2 sigma it is in doubt."""
    line = shapely.LineString([(0, 0), (0, 250 * FOOT_M)])
    rows = held(line, [99 * FOOT_M, 199.2 * FOOT_M]).query("what == 'clean-out distance'")
    assert (rows["value"] / FOOT_M).tolist() == pytest.approx([99, 100.2, 50.8])
    assert rows["verdict"].tolist() == ["within", "doubtful", "within"]
    assert rows["sigma"].tolist() == pytest.approx([0.1, 0.1 * 2**0.5, 0.1])
    alone = held(line).query("what == 'clean-out distance'").iloc[0]
    assert (alone["verdict"], alone["note"]) == ("over", "no clean-out is recorded on this line")
    exact = held(shapely.LineString([(0, 0), (0, 100 * FOOT_M)])).query("what == 'clean-out distance'").iloc[0]
    assert exact["verdict"] == "within"


def test_chicago_says_nothing_of_bends():
    """Chicago's municipal code: 50 ft up to 4 in; nothing of bends is known of it, nor of larger pipes, and that is said."""
    line = walked(90, 90, step=20 * FOOT_M)
    rows = held(line, text='clean_outs = "Chicago"').set_index("what")
    assert rows["verdict"].to_dict() == {"bends": "no limit known", "clean-out distance": "over"}
    assert "table Chicago says nothing of bends" in rows.loc["bends", "note"]
    large = held(line, text='clean_outs = "Chicago"', diameter=0.15).set_index("what").loc["clean-out distance"]
    assert large["verdict"] == "no limit known"
    assert "table Chicago says nothing for this size" in large["note"]


def test_one_clean_out_seen_often_is_one():
    """Sightings within 1 m are one clean-out: where a survey gave it, or in their middle."""
    once = one_a_place(places((5.0, False), (5.8, False), (12.0, False), (12.3, True), (30.0, False), (np.nan, False)), 1.0)
    assert once["measure_m"].tolist() == pytest.approx([5.4, 12.3, 30.0])
    assert len(one_a_place(places(), 1.0)) == 0


def test_a_clean_out_at_an_end_cuts_off_nothing():
    """Clean-outs at the ends, or placed past them, leave one stretch."""
    rows = held(walked(45), [0.0, 10.0, 10.4])
    assert rows["from_measure_m"].tolist() == [0, 0]
    assert rows["to_measure_m"].tolist() == [10, 10]


def test_many_laterals_at_once_are_as_one_by_one():
    """A batch gives each lateral what it gets alone, whatever the order of its rows."""
    lines = [walked(*[45] * (at % 5), step=3 + at) for at in range(30)]
    names = pd.Series([f"L{at + 1}" for at in range(30)], dtype="str")
    length = pd.Series(lines_from_geometries(lines).length_m, names)
    outs = pd.DataFrame({"lateral": names, "measure_m": length.to_numpy() / 3, "sigma_m": 0.2})
    turns, sizes = drawn(*lines), pd.Series(0.1, names)
    batch = rodding(length.sample(frac=1, random_state=1), outs, turns.sample(frac=1, random_state=2), sizes, RULES)
    alone = [
        rodding(length[[name]], outs[outs["lateral"] == name], turns[turns["lateral"] == name], sizes, RULES)
        for name in sorted(names)
    ]
    pd.testing.assert_frame_equal(batch, pd.concat(alone, ignore_index=True))
