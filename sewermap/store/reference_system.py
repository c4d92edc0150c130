"""The map's coordinate reference system: what the store asks of it, and how it is written down.

A store has one projected CRS. Its unit may be the metre or a foot; which foot matters (the US survey foot and the
international one differ by 2 in a million, which is feet at state-plane coordinates), so the factor is never guessed.
"""

import pyproj
from pyproj.exceptions import CRSError

from sewermap.errors import StoreError

_UTM_RANGE = ((-180, 180), (-80, 84))
"""Longitudes and latitudes, in degrees, for which UTM zones are made."""


def checked(crs: pyproj.CRS) -> pyproj.CRS:
    """The CRS, if a map in plane coordinates can be kept in it.

    Raises StoreError for longitude and latitude and for whatever is no projection.

    >>> checked(pyproj.CRS("EPSG:4326"))
    Traceback (most recent call last):
    ...
    sewermap.errors.StoreError: WGS 84 (EPSG:4326) measures in degrees, but lengths need a projected CRS: name the one ...
    """
    if not crs.is_projected:
        code = epsg_code(crs)
        name = f"{crs.name} (EPSG:{code})" if code else crs.name
        raise StoreError(
            f"{name} measures in {_unit_name(crs)}, but lengths need a projected CRS: "
            "name the one of your maps, such as a UTM zone or a state plane."
        )
    wkt1(crs)
    return crs


def metres_per_unit(crs: pyproj.CRS) -> float:
    """Metres in one unit of the map's coordinates.

    >>> metres_per_unit(pyproj.CRS("EPSG:2223"))
    0.3048
    """
    return float(crs.axis_info[0].unit_conversion_factor)


def epsg_code(crs: pyproj.CRS) -> int | None:
    """The EPSG code that means exactly this CRS, or None.

    >>> epsg_code(pyproj.CRS("EPSG:26910"))
    26910
    """
    authority = crs.to_authority(min_confidence=100)
    if authority is not None and authority[0] == "EPSG" and authority[1].isdecimal():
        return int(authority[1])
    return None


def wkt1(crs: pyproj.CRS) -> str:
    """The CRS in the older well-known text (OGC 01-009) that GeoPackage and PostGIS keep.

    Raises StoreError where that form cannot say it.
    """
    try:
        return str(crs.to_wkt("WKT1_GDAL"))
    except CRSError as error:
        raise StoreError(
            f"{crs.name} cannot be written in the form of CRS that databases keep (WKT 1): take its projected part alone."
        ) from error


def _unit_name(crs: pyproj.CRS) -> str:
    units = crs.axis_info[0].unit_name + "s" if crs.axis_info else "no unit"
    return "degrees" if units.startswith("degree") else units


def crs_from_text(text: str | int) -> pyproj.CRS:
    """A projected CRS from ``EPSG:N``, a code or well-known text. Raises StoreError."""
    try:
        return checked(pyproj.CRS.from_user_input(text))
    except CRSError as error:
        raise StoreError(f"'{text}' is no CRS that is known; name one like EPSG:26910") from error


def crs_near(longitude: float, latitude: float) -> pyproj.CRS:
    """The UTM zone (WGS 84) of a place, for whoever has no map CRS of his own. Raises StoreError off the globe's UTM range.

    >>> epsg_code(crs_near(-122.0, 37.0))
    32610
    """
    (west, east), (south, north) = _UTM_RANGE
    if not (west <= longitude <= east and south <= latitude <= north):
        raise StoreError(f"{longitude},{latitude} is no longitude and latitude between 80° S and 84° N")
    zone = min(int((longitude - west) // 6) + 1, 60)
    return pyproj.CRS.from_epsg((32600 if latitude >= 0 else 32700) + zone)


def crs_name(crs: pyproj.CRS) -> str:
    """``EPSG:N`` where a code says exactly this CRS, else its own name."""
    code = epsg_code(crs)
    return f"EPSG:{code}" if code else str(crs.name)
