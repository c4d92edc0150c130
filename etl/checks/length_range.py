"""Lengths that cannot be, and lengths that are odd but possible."""

import numpy as np
import shapely

from etl.batch import Batch
from etl.problems import Finding, finding, warning

ODD: dict[str, tuple[float, float, str]] = {
    "diameter": (0.05, 0.3, "laterals are mostly 50 to 300 mm wide"),
    "tie_in_depth": (0.0, 10.0, "depths are mostly under 10 m"),
    "building_depth": (0.0, 10.0, "depths are mostly under 10 m"),
    "depth": (0.0, 10.0, "depths are mostly under 10 m"),
    "tie_in_invert": (-430.0, 5200.0, "inverts are elevations, and towns mostly lie between -430 and 5200 m"),
    "building_invert": (-430.0, 5200.0, "inverts are elevations, and towns mostly lie between -430 and 5200 m"),
    "map_accuracy": (0.01, 10.0, "maps are mostly true to 0.01 to 10 m"),
    "sigma": (0.001, 10.0, "points are mostly known to 0.001 to 10 m"),
    "measure": (0.0, 300.0, "laterals are mostly shorter than 300 m"),
    "launch_measure": (0.0, 300.0, "laterals are mostly shorter than 300 m"),
}
"""What a length mostly is, in metres (common practice, no source), and a sentence that says so."""

LONGEST_LATERAL_M = 300.0


def length_range(batch: Batch) -> list[Finding]:
    """Rejected: a negative length (an elevation may be negative), a diameter of nothing. Warned of: an odd one."""
    findings = []
    for field in batch.fields:
        if field.reader not in {"length", "level", "diameter"}:
            continue
        metres = batch.frame[field.column]
        nothing = (metres == 0) & (field.reader == "diameter") | (metres < 0) & (field.reader != "level")
        findings.append(finding(nothing, field.name, f"{field.name} must be more than nothing"))
        if field.name in ODD:
            least, most, sentence = ODD[field.name]
            odd = ~nothing & ((metres < least) | (metres > most))
            findings.append(warning(odd, field.name, f"odd, but loaded: {sentence}"))
    return findings


def lateral_length(batch: Batch) -> list[Finding]:
    """Warned of: a lateral longer than 300 m, and one that ends where it starts."""
    if batch.name != "laterals":
        return []
    geometry = batch.frame["geometry"].to_numpy(dtype=object)
    length = shapely.length(geometry) * batch.metres_per_unit
    ring = ~shapely.is_missing(geometry) & shapely.is_closed(geometry)
    return [
        warning(np.nan_to_num(length) > LONGEST_LATERAL_M, "geometry", f"its line is longer than {LONGEST_LATERAL_M:.0f} m"),
        warning(ring, "geometry", "its line ends where it starts"),
    ]
