"""An invented town with all its truth, for demonstrations, tests and benchmarks.

``make_town`` makes one, ``frames`` gives its tables in the store's shape, ``write`` writes its files, ``data_folder`` is the
one that is installed. Nothing in it is real.
"""

from sample_gis.big import write_big
from sample_gis.frames import frames
from sample_gis.generator import Town, make_town
from sample_gis.plans import plan_names
from sample_gis.settings import DEMO, EASY, HARD, SEED, Settings
from sample_gis.writer import data_folder, write

__all__ = [
    "DEMO",
    "EASY",
    "HARD",
    "SEED",
    "Settings",
    "Town",
    "data_folder",
    "frames",
    "make_town",
    "plan_names",
    "write",
    "write_big",
]
