"""The pictures that the town's logs name, as files; the last one is missing on purpose."""

from pathlib import Path

import numpy as np

from sample_gis.crews import ALL
from sample_gis.generator import Town
from sample_gis.views import caption, view_png


def write_pictures(town: Town, folder: Path) -> None:
    """The pictures below ``folder``/logs, each beside its crew's logs; that of the last run is missing, as happens."""
    named = town.observations[town.observations["picture"].notna()].sort_values("run", kind="stable").iloc[:-1]
    days = town.runs["ran_on"].dt.date.to_numpy(object)[named["run"].to_numpy(np.int64)]
    texts = [list(named[name]) for name in ("run_name", "reading", "kind", "picture")]
    figures = [named[name].to_numpy(float).tolist() for name in ("clock_from", "percent")]
    crews = named["crew"].to_numpy(np.int64).tolist()
    for number, (run, reading, kind, picture, clock, percent, crew, day) in enumerate(
        zip(*texts, *figures, crews, days, strict=True)
    ):
        path = folder / "logs" / ALL[crew].folder / picture
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(view_png(kind, clock, percent, caption(run, day, reading), number))
