"""Streets and houses in the order in which a van meets them: 2 before 10, and 10 before 10a."""

import pandas as pd

DIGITS = 9
"""A number in a name is compared by its value: it is filled up with zeros to so many digits."""


def in_order_of_houses(rows: pd.DataFrame, *then: str) -> pd.DataFrame:
    """Rows (street, address, lateral) by street and house number, those that say none last, then by the columns ``then``.

    The number of a house is the first in its address that does not belong to the street's name, whichever stands first:
    ``12 Alder Street``, ``Alder Street 12`` and ``12`` are one house, and so ``7 2nd Avenue`` is number 7.

    >>> told = ["10 Elm Lane", "Elm Lane 2", "2a Elm Lane", None]
    >>> rows = pd.DataFrame({"street": "Elm Lane", "address": told, "lateral": list("ABCD")})
    >>> in_order_of_houses(rows)["lateral"].tolist()
    ['B', 'C', 'A', 'D']
    """
    keys = pd.DataFrame({"street": natural(rows["street"]), "house": _houses(rows)})
    number = keys["house"].str.extract(r"(\d+)", expand=False)
    keys.insert(1, "number", number.astype("float64"))
    keys["lateral"] = natural(rows["lateral"])
    for name in then:
        keys[name] = rows[name]
    order = keys.reset_index(drop=True).sort_values(list(keys.columns), kind="stable").index
    return rows.iloc[order].reset_index(drop=True)


def natural(names: pd.Series) -> "pd.Series[str]":
    """Names as texts that sort as people count: case does not matter, and numbers go by their value.

    >>> sorted(["L-10", "l-9"], key=lambda name: natural(pd.Series([name]))[0])
    ['l-9', 'L-10']
    """
    folded = names.astype("str").str.casefold().str.strip().str.replace(r"\s+", " ", regex=True)
    return folded.str.replace(r"\d+", lambda found: found[0].lstrip("0").zfill(DIGITS), regex=True)


def _houses(rows: pd.DataFrame) -> "pd.Series[str]":
    """What an address says beside its street's name, to be sorted by; missing where that is nothing."""
    address, street = (rows[name].astype("str").fillna("").str.casefold() for name in ("address", "street"))
    bare = [house.replace(way, " ").strip(" ,") if way else house for house, way in zip(address, street, strict=True)]
    told = natural(pd.Series(bare, index=rows.index, dtype="str"))
    return told.mask(told == "")
