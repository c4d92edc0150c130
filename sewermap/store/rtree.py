"""A packed R-tree, written straight into the tables behind SQLite's R*Tree.

SQLite's own insert puts in one box at a time; a tree built at once from all boxes is several times faster to write and reads
fewer nodes. The boxes are put in the order of a Hilbert curve (Kamel & Faloutsos, *On Packing R-trees*, CIKM 1993) and cut
into full leaves; the levels above follow. Node format and the three tables behind the virtual one (``_node``, ``_rowid``,
``_parent``): "The SQLite R*Tree Module", section 6, and the head of its source, ``rtree.c``.

A box is (minx, miny, maxx, maxy) in map units here, as shapely gives it, and (minx, maxx, miny, maxy) in float32 in the tree,
rounded outward, so that it always holds the true box.
"""

import sqlite3
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

_ROOT = 1
_NODE_HEADER_BYTES = 4
_CELL = np.dtype([("id", ">i8"), ("box", ">f4", (4,))])
_MOST_CELLS = 51
"""SQLite's own limit for a node, whatever the page size."""

_CURVE_BITS = 16


@dataclass(frozen=True)
class Packed:
    """The rows of the three tables behind an R*Tree."""

    nodes: list[tuple[int, bytes]]
    leaf_of: list[tuple[int, int]]
    parent_of: list[tuple[int, int]]


def outward_float32(boxes: NDArray[np.float64]) -> NDArray[np.float32]:
    """(N, 4) boxes minx, miny, maxx, maxy as the tree holds them: minx, maxx, miny, maxy in float32, never smaller.

    >>> bool(outward_float32(np.array([[0.1, 0.1, 0.1, 0.1]]))[0, 0] < 0.1)
    True
    """
    exact = boxes[:, [0, 2, 1, 3]]
    rounded = exact.astype(np.float32)
    for column, towards in ((0, -np.inf), (1, np.inf), (2, -np.inf), (3, np.inf)):
        inside = rounded[:, column] > exact[:, column] if towards < 0 else rounded[:, column] < exact[:, column]
        rounded[inside, column] = np.nextafter(rounded[inside, column], np.float32(towards))
    return rounded


def hilbert_order(boxes: NDArray[np.float32]) -> NDArray[np.intp]:
    """The order of (N, 4) float32 boxes along a Hilbert curve through their centres."""
    x = _grid(boxes[:, 0].astype(np.float64) + boxes[:, 1])
    y = _grid(boxes[:, 2].astype(np.float64) + boxes[:, 3])
    along: NDArray[np.uint32] = np.zeros(len(boxes), dtype=np.uint32)
    # The classic bitwise walk (Warren, Hacker's Delight, chapter 16), one bit of all centres at a time.
    for bit in range(_CURVE_BITS - 1, -1, -1):
        right = (x >> bit) & 1
        upper = (y >> bit) & 1
        along = ((along << 2) | (3 * right ^ upper)).astype(np.uint32)
        flip = (upper == 0) & (right == 1)
        x = np.where(flip, ~x & 0xFFFF, x)
        y = np.where(flip, ~y & 0xFFFF, y)
        x, y = np.where(upper == 0, y, x), np.where(upper == 0, x, y)
    return np.argsort(along, kind="stable")


def packed(ids: NDArray[np.int64], boxes: NDArray[np.float32], node_bytes: int) -> Packed:
    """The R-tree of N boxes, given as ``outward_float32`` gives them, with nodes of ``node_bytes``.

    Nodes of a level are filled evenly, so that none but the root is under half full.
    """
    room = min(_MOST_CELLS, (node_bytes - _NODE_HEADER_BYTES) // _CELL.itemsize)
    order = hilbert_order(boxes)
    cell_ids, cell_boxes = ids[order], boxes[order]
    nodes: list[tuple[int, bytes]] = []
    parents: list[tuple[int, int]] = []
    leaf_of: list[tuple[int, int]] = []
    next_node, depth = _ROOT + 1, 0
    while True:
        levels_root = len(cell_ids) <= room
        starts = _even_starts(len(cell_ids), room)
        numbers = np.array([_ROOT]) if levels_root else next_node + np.arange(len(starts))
        counts = np.diff(np.append(starts, len(cell_ids)))
        owner = np.repeat(numbers, counts)
        pairs = _sorted_pairs(cell_ids, owner)
        leaf_of, parents = (pairs, parents) if depth == 0 else (leaf_of, [*parents, *pairs])
        blobs = _node_blobs(cell_ids, cell_boxes, starts, counts, node_bytes)
        if levels_root:
            blobs[0][0:2] = np.frombuffer(depth.to_bytes(2, "big"), dtype=np.uint8)
            return Packed([(_ROOT, blobs[0].tobytes()), *nodes], leaf_of, parents)
        nodes.extend(zip(numbers.tolist(), blobs.view(f"V{node_bytes}")[:, 0].tolist(), strict=True))
        cell_boxes = _boxes_around(cell_boxes, starts)
        cell_ids, next_node, depth = numbers.astype(np.int64), next_node + len(starts), depth + 1


def write(cursor: sqlite3.Cursor, name: str, ids: NDArray[np.int64], boxes: NDArray[np.float32]) -> None:
    """Replace all that the R-tree ``name`` holds by the given boxes (as ``outward_float32`` gives them)."""
    node_bytes = node_bytes_of(cursor, name)
    tree = packed(ids, boxes, node_bytes)
    for table in ("node", "rowid", "parent"):
        cursor.execute(f'DELETE FROM "{name}_{table}"')
    cursor.executemany(f'INSERT INTO "{name}_node" (nodeno, data) VALUES (?, ?)', tree.nodes)
    cursor.executemany(f'INSERT INTO "{name}_rowid" (rowid, nodeno) VALUES (?, ?)', tree.leaf_of)
    cursor.executemany(f'INSERT INTO "{name}_parent" (nodeno, parentnode) VALUES (?, ?)', tree.parent_of)


def append(cursor: sqlite3.Cursor, name: str, ids: NDArray[np.int64], boxes: NDArray[np.float32]) -> None:
    """Add boxes to the R-tree one by one: right where they are few beside those it holds."""
    rows = zip(ids.tolist(), *(boxes[:, side].tolist() for side in range(4)), strict=True)
    cursor.executemany(f'INSERT OR REPLACE INTO "{name}" VALUES (?, ?, ?, ?, ?)', rows)


def read(cursor: sqlite3.Cursor, name: str) -> tuple[NDArray[np.int64], NDArray[np.float32]]:
    """All ids and boxes (minx, maxx, miny, maxy) that the R-tree holds."""
    rows = cursor.execute(f'SELECT id, minx, maxx, miny, maxy FROM "{name}"').fetchall()
    if not rows:
        return np.empty(0, dtype=np.int64), np.empty((0, 4), dtype=np.float32)
    columns = list(zip(*rows, strict=True))
    return np.array(columns[0], dtype=np.int64), np.array(columns[1:], dtype=np.float32).T.copy()


def node_bytes_of(cursor: sqlite3.Cursor, name: str) -> int:
    """Size of a node of the R-tree, which SQLite chose from the page size when it made the table."""
    (size,) = cursor.execute(f'SELECT length(data) FROM "{name}_node" WHERE nodeno = {_ROOT}').fetchone()
    return int(size)


def _grid(centre: NDArray[np.float64]) -> NDArray[np.uint32]:
    if not centre.size:
        return np.zeros(0, dtype=np.uint32)
    low, wide = centre.min(), np.ptp(centre)
    scaled = (centre - low) * ((2**_CURVE_BITS - 1) / wide) if wide > 0 else np.zeros_like(centre)
    return scaled.astype(np.uint32)


def _even_starts(cells: int, room: int) -> NDArray[np.int64]:
    groups = max(1, -(-cells // room))
    return np.arange(groups, dtype=np.int64) * cells // groups


def _boxes_around(boxes: NDArray[np.float32], starts: NDArray[np.int64]) -> NDArray[np.float32]:
    low = np.minimum.reduceat(boxes, starts, axis=0)
    high = np.maximum.reduceat(boxes, starts, axis=0)
    return np.column_stack([low[:, 0], high[:, 1], low[:, 2], high[:, 3]])


def _sorted_pairs(ids: NDArray[np.int64], owner: NDArray[np.int64]) -> list[tuple[int, int]]:
    """(id, owner) in the order of ids: a table filled in the order of its key is written front to back."""
    order = np.argsort(ids, kind="stable")
    return list(zip(ids[order].tolist(), owner[order].tolist(), strict=True))


def _node_blobs(
    ids: NDArray[np.int64], boxes: NDArray[np.float32], starts: NDArray[np.int64], counts: NDArray[np.int64], node_bytes: int
) -> NDArray[np.uint8]:
    """(nodes, node_bytes) bytes: two for the depth (zero here), two for the count, then the cells, then zeros."""
    cells = np.zeros(len(ids) + 1, dtype=_CELL)
    cells["id"][:-1], cells["box"][:-1] = ids, boxes
    most = int(counts.max())
    place = np.arange(most)
    index = np.where(place < counts[:, None], starts[:, None] + place, len(ids))
    blobs = np.zeros((len(starts), node_bytes), dtype=np.uint8)
    blobs[:, 2:4] = counts.astype(">u2").view(np.uint8).reshape(-1, 2)
    body = cells[index].view(np.uint8).reshape(len(starts), most * _CELL.itemsize)
    blobs[:, _NODE_HEADER_BYTES : _NODE_HEADER_BYTES + body.shape[1]] = body
    return blobs
