"""What a town's map is made of: plain tables, whoever brought them."""

from dataclasses import dataclass

import geopandas as gpd

from sewermap.errors import SewermapError


@dataclass(frozen=True)
class TownTables:
    """The layers of one town, each in the map's CRS, with the column names of the database's tables.

    Any layer may be empty; one that holds rows must know its CRS. ``units`` is what lengths are told in first: ``ft`` or
    ``m`` (the other always stands beside it). A placed observation without a geometry is one that could not be placed.
    """

    laterals: gpd.GeoDataFrame
    placed_observations: gpd.GeoDataFrame
    parcels: gpd.GeoDataFrame
    streets: gpd.GeoDataFrame
    mains: gpd.GeoDataFrame
    buildings: gpd.GeoDataFrame
    title: str
    units: str = "ft"

    def __post_init__(self) -> None:
        """Refuse units that no counter shows."""
        if self.units not in ("ft", "m"):
            raise SewermapError(f"the map's units are '{self.units}'; they must be ft or m")
