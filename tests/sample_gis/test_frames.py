"""Tables of a town in the store's shape."""

import pytest
import shapely
import sqlalchemy as sa

from sample_gis import frames, make_town
from sample_gis.frames import BOOKKEEPING, SECTIONS, in_shape
from sewermap.history.kinds import roles
from sewermap.store.tables import RECORDED, metadata


@pytest.fixture(scope="module")
def tables():
    """The frames of a town of 150 laterals."""
    return frames(make_town(2, 150))


@pytest.mark.parametrize("name", SECTIONS)
def test_columns_are_the_stores(tables, name):
    """Each frame has the columns of its table, in order, but the loader's own; types are those in which tables travel."""
    table = metadata.tables[name]
    assert list(tables[name].columns) == [column.name for column in table.columns if column.name not in BOOKKEEPING]
    for column in table.columns:
        if column.name in BOOKKEEPING:
            continue
        kind = str(tables[name][column.name].dtype)
        expected = {sa.Text: "str", sa.Date: "datetime64[s]", sa.Double: "float64"}.get(type(column.type))
        assert kind == (expected or {"id": "int64", "geometry": "object"}.get(column.name, "float64"))


def test_needed_cells_are_filled(tables):
    """What the store needs is there, keys are unique, and all names of laterals and runs are known."""
    for recorded in RECORDED.values():
        frame = tables.get(recorded.table.name)
        if frame is None:
            continue
        for column in recorded.table.columns:
            if not column.nullable and column.name not in BOOKKEEPING:
                assert frame[column.name].notna().all()
        if recorded.key:
            assert not frame.duplicated(list(recorded.key)).any()
    assert set(tables["runs"]["lateral"]) <= set(tables["lateral_lines"]["lateral"])
    assert set(tables["observations"]["run"]) <= set(tables["runs"]["run"])
    assert set(tables["observations"]["kind"]) <= set(roles())
    assert shapely.is_valid(tables["lateral_lines"]["geometry"].to_numpy()).all()


def test_clean_outs_named_by_runs_are_on_record(tables):
    """A run is launched from, and an observation names, only what the referents hold."""
    known = set(zip(tables["referents"]["lateral"], tables["referents"]["name"], strict=True))
    runs = tables["runs"].query("launch not in ['building', 'tie-in']")
    assert len(runs)
    assert set(zip(runs["lateral"], runs["launch"], strict=True)) <= known
    seen = tables["observations"].merge(tables["runs"][["run", "lateral"]], on="run").dropna(subset="referent")
    seen = seen[seen["referent"] != "property line"]
    assert set(zip(seen["lateral"], seen["referent"], strict=True)) <= known


def test_unknown_column_is_refused():
    """A column that the store does not have is a mistake of the program, not dropped in silence."""
    with pytest.raises(KeyError, match="shoe_size"):
        in_shape(metadata.tables["mains"], {"main": ["M-1"], "shoe_size": ["44"]})
