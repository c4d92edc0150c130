"""A small lettering of our own, three dots wide and five high, for the counter text in the invented pictures."""

import numpy as np
from numpy.typing import NDArray

WIDE, HIGH = 3, 5

_LETTERS = """
A .#./#.#/###/#.#/#.#  B ##./#.#/##./#.#/##.  C .##/#../#../#../.##  D ##./#.#/#.#/#.#/##.  E ###/#../##./#../###
F ###/#../##./#../#..  G .##/#../#.#/#.#/.##  H #.#/#.#/###/#.#/#.#  I ###/.#./.#./.#./###  J ..#/..#/..#/#.#/.#.
K #.#/#.#/##./#.#/#.#  L #../#../#../#../###  M #.#/###/###/#.#/#.#  N ##./#.#/#.#/#.#/#.#  O .#./#.#/#.#/#.#/.#.
P ##./#.#/##./#../#..  Q .#./#.#/#.#/##./.##  R ##./#.#/##./#.#/#.#  S .##/#../.#./..#/##.  T ###/.#./.#./.#./.#.
U #.#/#.#/#.#/#.#/###  V #.#/#.#/#.#/.#./.#.  W #.#/#.#/###/###/#.#  X #.#/#.#/.#./#.#/#.#  Y #.#/#.#/.#./.#./.#.
Z ###/..#/.#./#../###  0 ###/#.#/#.#/#.#/###  1 .#./##./.#./.#./###  2 ##./..#/.#./#../###  3 ##./..#/.#./..#/##.
4 #.#/#.#/###/..#/..#  5 ###/#../##./..#/##.  6 .##/#../###/#.#/###  7 ###/..#/.#./.#./.#.  8 ###/#.#/###/#.#/###
9 ###/#.#/###/..#/##.  - .../.../###/.../...  . .../.../.../.../.#.  , .../.../.../.#./#..  ' .#./.#./.../.../...
" #.#/#.#/.../.../...  : .../.#./.../.#./...  / ..#/..#/.#./#../#..
"""


def _glyphs() -> dict[str, NDArray[np.bool_]]:
    parts = _LETTERS.split()
    return {
        letter: np.array([[dot == "#" for dot in row] for row in drawn.split("/")])
        for letter, drawn in zip(parts[::2], parts[1::2], strict=True)
    }


GLYPHS = _glyphs()
"""(5, 3) dots of each letter; what is not here is a blank."""


def dots_of(text: str) -> NDArray[np.bool_]:
    """(5, 4 n) dots of a text of n letters, capitals, one empty column after each.

    >>> dots_of("1").astype(int).tolist()
    [[0, 1, 0, 0], [1, 1, 0, 0], [0, 1, 0, 0], [0, 1, 0, 0], [1, 1, 1, 0]]
    """
    blank = np.zeros((HIGH, WIDE), dtype=bool)
    columns = [np.pad(GLYPHS.get(letter, blank), ((0, 0), (0, 1))) for letter in text.upper()]
    return np.concatenate(columns, axis=1) if columns else np.zeros((HIGH, 0), dtype=bool)
