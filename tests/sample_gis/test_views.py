"""The invented pictures: small, of one size, legible, and each of its kind."""

import numpy as np
import pytest

from sample_gis.lettering import GLYPHS, dots_of
from sample_gis.views import BAR_TOP, HEIGHT, PALETTE, PIPE, ROOT, WATER, WIDTH, view_png
from tests.sample_gis.pixels import pixels_of

KINDS = ("roots", "crack", "open crack", "offset joint", "standing water", "grease", "infiltration", "cross-bore")


def shown(kind: str, clock: float = 6.0, percent: float = 40.0, lines: tuple[str, ...] = (), chance: int = 1) -> np.ndarray:
    """The pixels of a view."""
    return pixels_of(view_png(kind, clock, percent, lines, chance))


def of_colour(pixels: np.ndarray, colour: int) -> np.ndarray:
    """Which pixels have a colour of the palette."""
    return (pixels == PALETTE[colour]).all(axis=2)


@pytest.mark.parametrize("kind", KINDS)
def test_each_picture_is_small_and_of_one_size(kind):
    """A view has 320 by 240 pixels and less than 15 kB, and the same figures give the same view."""
    png = view_png(kind, 3.0, 60.0, ("BF-1001  2024-02-29", "COUNTER 44.5"), 7)
    assert len(png) < 15_000
    assert pixels_of(png).shape == (HEIGHT, WIDTH, 3)
    assert (pixels_of(png) == shown(kind, 3.0, 60.0, ("BF-1001  2024-02-29", "COUNTER 44.5"), 7)).all()


def test_kinds_look_different():
    """No two kinds give the same view."""
    views = [shown(kind) for kind in KINDS]
    differ = [(one != other).any() for at, one in enumerate(views) for other in views[:at]]
    assert len(differ) == 28
    assert all(differ)


def test_clock_says_where():
    """Roots at three o'clock are on the right, at nine on the left, at twelve above the middle, as a clock's face has it."""
    middles = {clock: np.argwhere(of_colour(shown("roots", clock), ROOT)).mean(axis=0) for clock in (3.0, 9.0, 12.0, 6.0)}
    assert middles[3.0][1] > WIDTH / 2 + 20 > WIDTH / 2 - 20 > middles[9.0][1]
    assert middles[12.0][0] < middles[6.0][0] - 40


def test_more_water_fills_more():
    """The fuller the bore, the more of the view is water, and it is at the bottom."""
    counts = [of_colour(shown("standing water", np.nan, percent), WATER).sum() for percent in (10.0, 30.0, 60.0)]
    assert 0 < counts[0] < counts[1] < counts[2]
    assert np.argwhere(of_colour(shown("standing water", np.nan, 20.0), WATER))[:, 0].min() > BAR_TOP / 2


def test_other_pipe_goes_through():
    """A cross-bore shows as a pipe from one side of the view to the other."""
    columns = np.flatnonzero(of_colour(shown("cross-bore"), PIPE).any(axis=0))
    assert np.ptp(columns) > WIDTH / 2


def test_text_is_in_the_bar_below():
    """Text changes the bar alone; without a clock position or percent there is a picture too; long text does not run out."""
    plain, told = shown("crack", np.nan, np.nan), shown("crack", np.nan, np.nan, ("BR-1001", "COUNTER 13,57", "W" * 200, "more"))
    assert (plain[:BAR_TOP] == told[:BAR_TOP]).all()
    assert (told[BAR_TOP:] == 255).all(axis=2).sum() > 200
    assert not (plain[BAR_TOP:] == 255).any()


def test_every_sign_of_the_logs_has_its_letter():
    """All letters, digits and signs that stand in readings and names are drawn, each its own way."""
    needed = set("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-.,'\"")
    assert needed <= set(GLYPHS)
    forms = {letter: dots.tobytes() for letter, dots in GLYPHS.items()}
    twins = [letter for letter, form in forms.items() if list(forms.values()).count(form) > 1]
    assert twins == []
    assert dots_of("a é").any(axis=0).tolist() == [True, True, True] + [False] * 9
