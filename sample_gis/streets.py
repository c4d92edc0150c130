"""Streets and lots of an invented town: where each property fronts its street.

The town lies in the open sea, some 120 km off a coast, so that no real place is meant. It is built of districts: a straight
spine that runs north with lots on its west, and rows that leave it eastwards in a gentle arc with lots on both sides.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

CRS = "EPSG:26910"
TOWN = "Ottermarsh Quay"
ORIGIN_M = (262_000.0, 4_700_000.0)
HALF_WAY_M = 7.5
"""From the street's centre line to the property line."""
MAIN_OFFSET_M = 1.2
"""The main lies this far left of the centre line."""

ROW_APART_M = 120.0
DISTRICT_APART_M = (600.0, 1320.0)
FIRST_LOT_M = 26.0
SMALL_TOWN, SMALL_ROWS, LARGE_ROWS, DISTRICT_LOTS = 100, 4, 10, 440
_FIRST_NAMES = ("Spindrift Way", "Tallowmere Row", "Quincebank Lane", "Sedgewhistle Street", "Cobbleheron Walk")
_HEADS = ("Amber", "Bracken", "Candle", "Dapple", "Ember", "Fennel", "Gorse", "Hazel", "Ivory", "Juniper", "Kelp", "Linnet")
_MIDDLES = ("whistle", "bank", "heron", "mere", "sprig", "thatch", "willow")
_TAILS = ("Row", "Lane", "Walk", "Street", "Rise", "Close")

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Streets:
    """Arcs, one a street: ``start`` (S, 2) in map metres, ``heading`` (radians from east), ``curvature`` (1/m), ``length_m``."""

    name: NDArray[np.object_]
    start: Floats
    heading: Floats
    curvature: Floats
    length_m: Floats

    def at(self, street: Ints, along_m: Floats, left_m: Floats) -> Floats:
        """Points (N, 2) that stand ``along_m`` down a street and ``left_m`` to the left of its centre line."""
        heading, bend = self.heading[street], self.curvature[street]
        now = heading + bend * along_m
        x = self.start[street, 0] + (np.sin(now) - np.sin(heading)) / bend - np.sin(now) * left_m
        y = self.start[street, 1] - (np.cos(now) - np.cos(heading)) / bend + np.cos(now) * left_m
        return np.column_stack([x, y])


@dataclass(frozen=True)
class Lots:
    """One row a property: its street, side (+1 left, −1 right), house number, middle along the street and frontage."""

    street: Ints
    side: Floats
    number: Ints
    along_m: Floats
    width_m: Floats


def streets_and_lots(count: int, rng: np.random.Generator) -> tuple[Streets, Lots]:
    """A town of ``count`` lots."""
    rows = SMALL_ROWS if count <= SMALL_TOWN else LARGE_ROWS
    districts = max(1, -(-count // DISTRICT_LOTS))
    per_district = -(-count // districts)
    per_street = -(-per_district // (rows + 1))
    lot = np.arange(count)
    district, within = lot // per_district, lot % per_district
    street = district * (rows + 1) + within // per_street
    place = within % per_street
    spine = street % (rows + 1) == 0
    side = np.where(spine, 1.0, np.where(place % 2 == 0, 1.0, -1.0))
    width_m = rng.uniform(17.0, 22.0, count)
    along_m = _middles(street, side, width_m) + np.where(spine, 2.0, FIRST_LOT_M)
    number = np.where(spine, 2 * place + 1, place + 1)
    streets = _arcs(districts, rows, rng, street, along_m + width_m)
    return streets, Lots(street.astype(np.int64), side, number.astype(np.int64), along_m, width_m)


def _middles(street: Ints, side: Floats, width_m: Floats) -> Floats:
    """The middle of each lot along its side of the street, the lots standing wall to wall."""
    table = pd.DataFrame({"street": street, "side": side, "width_m": width_m})
    reach = table.groupby(["street", "side"])["width_m"].cumsum().to_numpy(float)
    return np.asarray(reach - width_m / 2.0)


def _arcs(districts: int, rows: int, rng: np.random.Generator, street: Ints, reach_m: Floats) -> Streets:
    count = districts * (rows + 1)
    index = np.arange(count)
    district, row = index // (rows + 1), index % (rows + 1)
    across = max(1, round(districts**0.5))
    spine = row == 0
    start = np.column_stack(
        [
            ORIGIN_M[0] + (district % across) * DISTRICT_APART_M[0],
            ORIGIN_M[1] + (district // across) * DISTRICT_APART_M[1] + np.where(spine, 0.0, 60.0 + (row - 1) * ROW_APART_M),
        ]
    )
    heading = np.where(spine, np.pi / 2.0, np.radians(rng.uniform(-5.0, -3.0, count)))
    curvature = np.where(spine, 1e-7, 1.0 / 1200.0)
    length_m = np.where(spine, rows * ROW_APART_M, FIRST_LOT_M)
    np.maximum.at(length_m, street, reach_m)
    return Streets(_names(count), start, heading, curvature, length_m)


def _names(count: int) -> NDArray[np.object_]:
    made = [f"{head}{middle} {tail}" for tail in _TAILS for middle in _MIDDLES for head in _HEADS]
    names = [*_FIRST_NAMES, *made]
    names += [f"{name} {part}" for part in range(2, 2 + count // len(names) + 1) for name in names]
    return np.array(names[:count], dtype=object)
