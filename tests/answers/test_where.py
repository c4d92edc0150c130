"""``where`` through the Python door, beside scikit-learn's Gaussian-process regression as the reference library.

Model: Rasmussen and Williams (2006), eq. 2.23 and 2.24 (from memory). Figures of the counter: common practice, no source.
"""

import numpy as np
import pandas as pd
import pytest
import shapely
from geopandas import GeoDataFrame
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import Kernel

import sewermap
from sewermap.errors import LengthError, UnknownNameError

LAUNCH_M, SCALE, SLIP_M, FIX_M, MAP_SHARED = 0.3, 0.015, 0.0004, 0.1, 0.5
MAP_M, PARCEL_M = 0.2, 0.15
FOOT_M = 0.3048
LINE = shapely.LineString([(500000, 4000000), (500000, 4000030), (500020, 4000030)])
PROPERTY_LINE_M, CLEAN_OUT_M, CLEAN_OUT_SIGMA_M, LEAST_APART_M = 12.0, 46.7, 0.05, 0.1
SEEN = {"10.2": "clean-out", "64.5": "roots", "125.3": "property line", "150": "crack"}
"""Readings in feet of a run from the building, on a line of 50 m, whose counter is a little off."""


class Counter(Kernel):
    """The design's prior covariance of two readings of a run: launch, scale and slip."""

    def __init__(self):
        """Nothing to set: the figures are those above."""

    def __call__(self, X, Y=None, eval_gradient=False):  # noqa: N803, FBT002 - scikit-learn's names
        """Covariance of cable lengths, metres (n, 1) and (m, 1)."""
        a, b = np.asarray(X), np.asarray(X if Y is None else Y)
        shared = LAUNCH_M**2 + MAP_M**2 + SCALE**2 * a @ b.T + SLIP_M * np.minimum(a, b.T)
        return (shared, np.zeros((*shared.shape, 0))) if eval_gradient else shared

    def diag(self, X):  # noqa: N803
        """Variances."""
        return np.diag(self(X))

    def is_stationary(self):
        """The farther the cable, the less is known."""
        return False


@pytest.fixture(scope="module")
def reference():
    """scikit-learn's regression of the error (true measure less prior mean) on the two fixes of the run."""
    return regression(PROPERTY_LINE_M)


@pytest.fixture(scope="module")
def moved():
    """The same, had the map drawn the property line a metre further."""
    return regression(PROPERTY_LINE_M + 1.0)


def regression(property_line_m):
    """The regression where the map draws the property line at this measure."""
    paid_m = np.array([[10.2 * FOOT_M], [125.3 * FOOT_M]])
    known_m = np.array([CLEAN_OUT_M, property_line_m])
    own_m = np.array([CLEAN_OUT_SIGMA_M, np.hypot(FIX_M, PARCEL_M)])
    noise = own_m**2 + MAP_M**2
    model = GaussianProcessRegressor(Counter(), alpha=noise, optimizer=None)
    return model.fit(paid_m, known_m - (50.0 - paid_m.ravel()))


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """A book with one lateral, its parcel, a surveyed clean-out and a run that passed the clean-out and the property line."""
    folder = tmp_path_factory.mktemp("small")
    GeoDataFrame({"lateral": ["L1"], "address": ["7 Reed Lane"], "map_accuracy": [MAP_M], "property": ["P1"]},
                 geometry=[LINE], crs="EPSG:26910").to_file(folder / "laterals.gpkg")  # fmt: skip
    own = shapely.box(499900, 4000000 + PROPERTY_LINE_M, 500100, 4000100)
    GeoDataFrame({"property": ["P1"], "map_accuracy": [PARCEL_M]}, geometry=[own], crs="EPSG:26910").to_file(
        folder / "parcels.gpkg"
    )
    referent = f"lateral,name,kind,measure,sigma\nL1,CO1,clean-out,{CLEAN_OUT_M},{CLEAN_OUT_SIGMA_M}\n"
    (folder / "referents.csv").write_text(referent)
    (folder / "runs.csv").write_text("run,lateral,ran_on,unit\nR1,L1,2024-05-31,ft\n")
    seen = pd.DataFrame({"run": "R1", "reading": list(SEEN), "kind": list(SEEN.values())})
    seen["referent"] = seen["kind"].map({"clean-out": "CO1"})
    seen.to_csv(folder / "observations.csv", index=False)
    sections = ("parcels.gpkg", "laterals.gpkg", "referents.csv", "runs.csv", "observations.csv")
    plan = "".join(f'[{name.split(".")[0]}]\nfrom = "{name}"\n' for name in sections)
    (folder / "SOURCES.toml").write_text(plan.replace('"laterals.gpkg"', '"laterals.gpkg"\ntie_in = "start"'))
    book = sewermap.create(folder / "small.gpkg", "EPSG:26910")
    report = book.load(folder / "SOURCES.toml")
    assert report.rejects.empty
    return book


@settings(max_examples=25, deadline=None)
@given(reading_ft=st.floats(1, 155).map(lambda feet: round(feet, 1)))
def test_any_reading_is_where_the_reference_puts_it(small, reference, moved, reading_ft):
    """Measure and sigma of any reading of the run equal scikit-learn's posterior; the point is shapely's; the side is scipy's.

    How much of the property line's error is in the measure is read off scikit-learn too: by moving the line a metre. (To 0.02:
    sewermap takes it from the solution of all runs together, where what the map shares is left out.)
    """
    told = small.where("L1", str(reading_ft), "R1")
    paid_m = reading_ft * FOOT_M
    error, sigma = reference.predict([[paid_m]], return_std=True)
    measure_m = 50.0 - paid_m + error[0]
    assert told["measure_m"] == pytest.approx(measure_m, abs=1e-9)
    # Half of the variance of a map's error moves the whole line, and no fix on that line can tell it.
    sigma_m = max(sigma[0], MAP_M * np.sqrt(MAP_SHARED))
    assert told["sigma_m"] == pytest.approx(sigma_m, abs=1e-9)
    point = LINE.interpolate(measure_m)
    assert (told["x"], told["y"]) == pytest.approx((point.x, point.y), abs=1e-8)
    # The counter was fixed at the drawn property line: that part of the line's error which moved the measure cancels.
    line_share = moved.predict([[paid_m]])[0] - error[0]
    covariance = line_share * (PARCEL_M**2 + MAP_SHARED * MAP_M**2)
    apart = np.sqrt(max(sigma_m**2 + PARCEL_M**2 - 2 * covariance, LEAST_APART_M**2))
    private = norm.cdf((measure_m - PROPERTY_LINE_M) / apart)
    assert told["side_probability"] == pytest.approx(private, abs=0.02)
    sure = told["side_probability"]
    assert told["side"] == ("private" if sure >= 0.95 else "public" if sure <= 0.05 else "undetermined")
    assert max(sigma_m, MAP_M) * 1.959 < told["within_m"] < np.hypot(sigma_m, MAP_M) * 2.448


def test_loaded_observations_are_where_a_question_puts_them(small):
    """The placed observations and ``where`` of their readings tell one place."""
    placed = small.layer("placed_observations")
    assert len(placed) == len(SEEN)
    for row in placed.itertuples():
        told = small.where("L1", row.reading, "R1")
        assert (told["measure_m"], told["sigma_m"], told["within_m"]) == pytest.approx(
            (row.measure_m, row.sigma_m, row.within_m), abs=1e-12
        )


def test_readings_in_any_writing_and_addresses(small):
    """A reading may carry its own unit, and a lateral may be named by an address that only it has."""
    told = [small.where("7 reed lane", text, "r1")["measure_m"] for text in ("64.5", "64' 6\"", "64 ft 6 in", "19.6596 m")]
    assert told == pytest.approx([told[0]] * 4, abs=1e-9)


def test_what_stands_near_is_told_in_order(small):
    """The nearest known points come nearest first, with their distances."""
    near = small.where("L1", "64.5", "R1")["nearest"]
    assert {point["name"] for point in near} <= {"tie-in", "property line", "co1", "building"}
    assert [point["away_m"] for point in near] == sorted(point["away_m"] for point in near)
    assert len(near) == 3


def test_past_an_end(small):
    """A little past an end is at the end; far past it has no place, and the reason says how far."""
    near = small.where("L1", "165.5", "R1")
    assert (near["measure_m"], near["reason"]) == (0.0, "at end")
    far = small.where("L1", "300", "R1")
    assert (far["measure_m"], far["x"], far["lon"], far["side"]) == (None, None, None, None)
    assert far["reason"].startswith("past the tie-in by 41.")


@pytest.mark.parametrize("reading", ["", "five", "1,234", "12 ft 3 m", "-4", "nan", "inf"])
def test_no_reading(small, reading):
    """A text that is no reading, or could be two, is refused."""
    with pytest.raises(LengthError):
        small.where("L1", reading, "R1")


@pytest.mark.parametrize(("lateral", "run"), [("L2", "R1"), ("L1", "R2"), ("", "R1")])
def test_unknown_names(small, lateral, run):
    """A lateral or run that is not there is refused."""
    with pytest.raises(UnknownNameError):
        small.where(lateral, "5", run)


@pytest.mark.parametrize("kind", ["roots", "crack", "sag"])
def test_the_whole_town_answers_as_it_was_placed(book, kind):
    """In the sample town too, ``where`` of each loaded reading is where it was placed, or has the same reason not to be."""
    placed = book.layer("placed_observations")
    placed = placed[placed["kind"] == kind].head(25)
    assert len(placed) > 10
    for row in placed.to_dict("records"):
        told = book.where(row["lateral"], row["reading"], row["run"])
        if np.isnan(row["measure_m"]):
            assert told["measure_m"] is None
        else:
            assert (told["measure_m"], told["sigma_m"]) == pytest.approx((row["measure_m"], row["sigma_m"]), abs=1e-9)
