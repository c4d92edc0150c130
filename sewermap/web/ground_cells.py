"""Parcels, buildings and mains in cells, one file each, loaded where somebody looks."""

import numpy as np

from sewermap.web.cells import box_of
from sewermap.web.packing import call, packed
from sewermap.web.site_tables import SiteTables
from sewermap.web.world_steps import (
    CELL,
    LINE_TYPES,
    POLYGON_TYPES,
    Shapes,
    Whole,
    cell_keys,
    cell_of,
    in_town_order,
    objects,
    shapes_of,
)

LAYERS = {"parcels": POLYGON_TYPES, "buildings": POLYGON_TYPES, "mains": LINE_TYPES}


def ground_files(tables: SiteTables) -> tuple[dict[str, str], list[list[int]]]:
    """The files ``data/ground-X-Y.js`` by name, and of each cell: x, y and its box in steps from its corner.

    Columns of a cell, for each of the three layers: LAYER_vertices (by part), LAYER_x, LAYER_y (steps from the cell's corner). A
    polygon's rings stand together, in the cell that holds the middle of its box.
    """
    layers = {
        name: _in_order(shapes_of(objects(getattr(tables, name)["geometry"]), tables.crs, types))
        for name, types in LAYERS.items()
    }
    files, cells = {}, []
    for key in sorted({key for _, keys, _ in layers.values() for key in np.unique(keys).tolist()}):
        x, y = cell_of(key)
        columns, boxes = {}, []
        for name, (shapes, keys, box) in layers.items():
            start, end = np.searchsorted(keys, [key, key + 1]).tolist()
            vertices = slice(int(shapes.starts[start]), int(shapes.starts[end]))
            columns[f"{name}_vertices"] = shapes.vertices[start:end].astype(np.uint32)
            columns[f"{name}_x"] = (shapes.x[vertices] - x * CELL).astype(np.int32)
            columns[f"{name}_y"] = (shapes.y[vertices] - y * CELL).astype(np.int32)
            boxes.append(box[start:end])
        steps = frozenset(name for name in columns if name[-2:] in ("_x", "_y"))
        files[f"data/ground-{x}-{y}.js"] = call("sewermap.groundCell", x, y, packed(columns, steps))
        cells.append([x, y, *box_of(np.concatenate(boxes), x, y)])
    return files, cells


def _in_order(shapes: Shapes) -> tuple[Shapes, Whole, Whole]:
    """Parts cell by cell, neighbours together, whatever the order of rows; the cell of each, and its box."""
    if not len(shapes):
        return shapes, np.zeros(0, dtype=np.int64), np.zeros((0, 4), dtype=np.int64)
    boxes = shapes.boxes()
    # The rings of one polygon stay together: all take the cell and the place of the polygon's box.
    first = np.flatnonzero(np.concatenate([[True], shapes.owner[1:] != shapes.owner[:-1]]))
    counts = np.diff(np.append(first, len(shapes)))
    whole = np.concatenate([np.minimum.reduceat(boxes[:, :2], first), np.maximum.reduceat(boxes[:, 2:], first)], axis=1)
    middle = (whole[:, :2] + whole[:, 2:]) // 2
    keys = np.repeat(cell_keys(middle[:, 0], middle[:, 1]), counts)
    curve = np.repeat(in_town_order(middle[:, 0], middle[:, 1]), counts)
    # Whatever else is alike, what a part says tells it from others.
    place = np.arange(len(shapes.x)) - np.repeat(shapes.starts[:-1], shapes.vertices)
    said = np.add.reduceat((shapes.x * 7919 + shapes.y) * (place + 1), shapes.starts[:-1])
    order = np.lexsort([said, shapes.vertices, *np.repeat(whole, counts, axis=0).T[::-1], curve, keys])
    return shapes.taken(order), keys[order], boxes[order]
