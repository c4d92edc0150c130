"""A section's files to one batch of text: the first half of the pipeline, which knows ``sources`` and two of ``fields``."""

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
import pyproj
import shapely
from numpy.typing import NDArray

from etl.catalogue import FIELDS, NO_LINE_NEEDED, POINTS, SHAPES
from etl.cell_names import CellNames, cell_names, settled
from etl.fields.mapping import columns_by_field, filled, mapped
from etl.fields.numbers import numbers
from etl.plan import Plan, Section
from etl.problems import Problems
from etl.sources import read_file
from etl.sources.exchange import SUFFIXES as EXCHANGE
from etl.sources.exchange import unread_letters
from etl.sources.media import is_media
from etl.sources.postgis_table import read_table, source_name
from etl.sources.reproject import into
from etl.sources.rows import Rows, sha256_of
from etl.stick import read_stick
from sewermap.errors import SourceError

_SAY_THEIR_CRS = {"located": "crs", "observations": "located_crs"}
"""Sections whose rows may say a coordinate system of their own, and the field that does; the section's is its default."""

_DECIMALS = 6
_TURNED = ("referents",)
"""Sections whose coordinates come into the map's system as they are read, from a sheet as from a layer."""


@dataclass(frozen=True)
class Source:
    """One file (or table) of a section, read: its name, a digest of its content, its rows; of a workbook its cells' names."""

    name: str
    sha256: str
    rows: Rows
    cells: CellNames | None = None


@dataclass(frozen=True)
class Texts:
    """The rows of all sources of a section: ``written`` and ``cells`` as in ``Batch``, and ``places``: source_file,
    source_row and, where the section has one, geometry in the map's CRS; of laterals also ``lineless``: its file has no lines.
    """

    written: pd.DataFrame
    cells: pd.DataFrame
    places: pd.DataFrame


def sources_of(
    plan: Plan, section: Section, pictures: pd.DataFrame | None = None, progress: Callable[[str], None] | None = None
) -> list[Source]:
    """All sources of a section, read whole. Raises SourceError for what cannot be read.

    ``pictures``: what is recorded of pictures already (see ``Known``); ``progress`` hears how far the reading of counters is.
    """
    if section.url is not None and section.table is not None:
        rows, digest = read_table(section.url, section.table)
        return [Source(source_name(section.url, section.table), digest, rows)]
    media = [path for path in section.files if section.name == "pictures" and is_media(path)]
    sources = [_file_read(_name(plan, path), path, section) for path in section.files if path not in set(media)]
    if media:
        named = [(_name(plan, path), path) for path in media]
        read = read_stick(named, pictures, read_counters=section.read_counters, progress=progress)
        sources += [Source(name, digest, rows) for (name, _), (rows, digest) in zip(named, read, strict=True)]
    return sources


def texts_of(section: Section, sources: list[Source], crs: pyproj.CRS, problems: Problems) -> Texts:
    """The rows of all sources by our names of fields; rows that could not be read go to the problems.

    Raises SourceError for a source without the columns, the geometry or the CRS that the section needs.
    """
    written, places = [], []
    for source in sources:
        if source.cells is not None:
            problems.tell_by(section.name, source.name, source.cells.told)
        if source.rows.lines:
            problems.tell_by(section.name, source.name, partial(_told_by_line, lines=source.rows.lines))
        problems.add_aside(section.name, source.name, source.rows.aside)
        problems.add_broken(section.name, source.name, source.rows.broken)
        cells = mapped(section, FIELDS[section.name], source.rows.cells, source.name)
        if section.codes is not None:
            cells = section.codes.sized(cells, source.rows.cells)
        geometry = _geometry(section, source, crs)
        if geometry is not None and section.name in POINTS:
            cells = _with_coordinates(section.name, cells, geometry, crs)
        elif section.crs and section.name in _TURNED:
            cells = _turned(section, cells, crs, source.name)
        written.append(cells)
        places.append(_places(section.name, source, geometry))
    names = [field.name for field in FIELDS[section.name]]
    all_written = pd.concat(written, ignore_index=True).reindex(columns=names).astype("str")
    return Texts(all_written, filled(section, FIELDS[section.name], all_written), pd.concat(places, ignore_index=True))


def _name(plan: Plan, path: Path) -> str:
    return Path(os.path.relpath(path, plan.folder)).as_posix()


def _told_by_line(problems: pd.DataFrame, lines: Mapping[int, str]) -> pd.DataFrame:
    return problems.assign(reason=problems["row"].map(lines).astype("str").fillna("") + problems["reason"])


def _file_read(name: str, path: Path, section: Section) -> Source:
    if path.suffix.casefold() in EXCHANGE:
        rows = read_file(path, layer=section.layer or section.name)
        columns = columns_by_field(section, FIELDS[section.name], list(rows.cells.columns), name)
        return Source(name, sha256_of(path), replace(rows, aside=unread_letters(rows, section.name, set(columns.values()))))
    rows = read_file(path, layer=section.layer, encoding=section.encoding, separator=section.separator)
    if rows.sheet is None:
        return Source(name, sha256_of(path), rows)
    columns = columns_by_field(section, FIELDS[section.name], list(rows.cells.columns), name)
    return Source(name, sha256_of(path), settled(rows, columns), cell_names(rows, columns))


def _geometry(section: Section, source: Source, crs: pyproj.CRS) -> NDArray[np.object_] | None:
    geometry = source.rows.geometry
    if geometry is None:
        if section.name in SHAPES and source.rows.read == 0:
            return np.array([], dtype=object)  # an empty sheet loads nothing
        if section.name == NO_LINE_NEEDED:
            return None
        if section.name in SHAPES:
            raise SourceError(f"{source.name} holds no geometry; [{section.name}] needs a map layer")
        if section.crs and section.name not in (*_SAY_THEIR_CRS, *_TURNED):
            raise SourceError(f"{source.name} is no map layer, so crs says nothing in [{section.name}]; x and y are in the map's")
        return None
    if section.name not in SHAPES and section.name not in POINTS:
        return None
    stated = pyproj.CRS.from_user_input(section.crs) if section.crs else None
    return into(geometry, stated or source.rows.crs, crs, source.name)


def _with_coordinates(section: str, cells: pd.DataFrame, geometry: NDArray[np.object_], crs: pyproj.CRS) -> pd.DataFrame:
    """A layer of points gives the coordinates that its attributes do not."""
    x, y = POINTS[section]
    if x in cells or y in cells or not np.any(shapely.get_type_id(geometry) == shapely.GeometryType.POINT):
        return cells
    text = {name: pd.Series(get(geometry), index=cells.index) for name, get in ((x, shapely.get_x), (y, shapely.get_y))}
    columns = {name: value.map(repr, na_action="ignore").astype("str") for name, value in text.items()}
    if section in _SAY_THEIR_CRS:  # they are in the map's system by now, whatever the section says of its file
        columns[_SAY_THEIR_CRS[section]] = pd.Series(crs.to_string(), index=cells.index, dtype="str")
    return cells.assign(**columns)


def _turned(section: Section, cells: pd.DataFrame, crs: pyproj.CRS, name: str) -> pd.DataFrame:
    """Coordinates of a sheet that says its system, as a phone's longitude and latitude, in the map's; what is no number stays."""
    names = list(POINTS[section.name])
    if not set(names) <= set(cells):
        return cells
    # By the reader of the fields themselves: what it takes for a number must not stay in the other system.
    xy = np.column_stack([numbers(cells[name].astype("str"), "number")[0] for name in names])
    rows = np.asarray(np.isfinite(xy).all(axis=1), dtype=bool)
    moved = into(np.asarray(shapely.points(xy[rows]), dtype=object), pyproj.CRS.from_user_input(section.crs), crs, name)
    found = pd.DataFrame(shapely.get_coordinates(moved), columns=names, index=cells.index[rows]).round(_DECIMALS)
    lost = found.index[~np.isfinite(found.to_numpy()).all(axis=1)]
    turned = cells.copy()
    turned.loc[rows, names] = found.map(repr).astype("str")
    # As it was written, so that the reject tells it; no number, so that it is one.
    turned.loc[lost, names] = cells.loc[lost, names] + f" (has no place in {crs.name})"
    return turned


def _places(section: str, source: Source, geometry: NDArray[np.object_] | None) -> pd.DataFrame:
    places = pd.DataFrame({"source_row": source.rows.row})
    places.insert(0, "source_file", pd.Series(source.name, index=places.index, dtype="str"))
    if section in SHAPES and geometry is not None:
        places["geometry"] = pd.Series(geometry, index=places.index, dtype=object)
    if section == NO_LINE_NEEDED:
        places["lineless"] = geometry is None
        if geometry is None:
            places["geometry"] = pd.Series(np.full(len(places), None, dtype=object), index=places.index)
    return places
