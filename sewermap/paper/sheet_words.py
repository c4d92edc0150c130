"""What a dig sheet says, as sentences and rows of plain text; the template only sets them."""

from collections.abc import Hashable, Sequence
from typing import Any

import pandas as pd
import shapely

from sewermap.answers.dig import DigFacts
from sewermap.answers.dig_depth import UNKNOWN as DEPTH_UNKNOWN
from sewermap.answers.dig_ground import VIEW_M
from sewermap.cautions import STOP
from sewermap.history.life import MENDED, STATES
from sewermap.line.line_doubt import DOUBTFUL
from sewermap.line.ties import Tie, TiePair, wind_of
from sewermap.paper.words import half_inches, length, one_line, share, stretch, tape

ASSUMED = "ACCURACY ASSUMED"
MOST_SIGHTINGS = 4
MOST_WORKS = 2
MANY_WARNINGS = 3
MOST_NAMES = 3


def stop_words(facts: DigFacts) -> str | None:
    """The order to stop, with the issues that it is for; None where no cross-bore is suspected in view."""
    if not facts.cross_bores:
        return None
    return f"{STOP} Suspected: {_listed([one_line(name, 24) for name in facts.cross_bores])}."


def headline(facts: DigFacts) -> dict[str, str]:
    """What is to be dug for, where, and on whose side."""
    issue, lateral = facts.issue, facts.lateral
    grade = f", grade {int(issue['grade'])}" if issue["grade"] is not None else ", no grade"
    clock = facts.sightings["clock_from"].dropna()
    where = f", at {clock.iloc[-1]:g} o'clock" if len(clock) else ""
    pipe = " ".join(one_line(lateral[name], 24) for name in ("diameter", "material") if lateral[name])
    address, street = one_line(issue["address"], 48), one_line(issue["street"], 40)
    if street.casefold() not in address.casefold():
        address = f"{address} {street}".strip()
    return {
        "what": one_line(issue["kind"], 40) + grade + where,
        "place": address or "address unknown",
        "pipe": f"lateral {one_line(issue['lateral'], 30)}" + (f", {pipe}" if pipe else ""),
        "side": side_words(facts),
    }


def side_words(facts: DigFacts) -> str:
    """On whose side it is, how sure that is, and what the property line rests on."""
    issue, lateral = facts.issue, facts.lateral
    if issue["side"] is None:
        return "SIDE UNKNOWN: no property line is known here"
    private = float(issue["side_probability"])
    told = {
        "private": f"PRIVATE side ({share(private)} sure)",
        "public": f"PUBLIC side ({share(1 - private)} sure)",
    }.get(issue["side"], f"SIDE UNDETERMINED (private with {share(private)})")
    rests = f"; property line by {one_line(lateral['property_line_from'], 60)}" if lateral["property_line_from"] else ""
    ends = lateral["private_ends_at"]
    return told + (f"; private ends at the {one_line(ends, 30)}" if ends and ends != "property line" else "") + rests


def warnings(facts: DigFacts, unit: str) -> list[tuple[str, str]]:
    """What must not be overlooked: words in capitals, and what they mean here."""
    told = []
    if facts.depth.depth_m is None:
        told.append((DEPTH_UNKNOWN, f"{one_line(facts.depth.how, 130)}."))
    note = facts.lateral["line_note"]
    if note:
        told.append(("LINE DOUBTFUL" if DOUBTFUL in note else "LINE NOT ON A MAP", f"{one_line(note, 150)}."))
    if facts.lateral["accuracy_assumed"]:
        assumed = length(facts.lateral["map_accuracy_m"], unit)
        told.append((ASSUMED, f"nobody said how well this line was drawn; {assumed} (one sigma) is taken."))
    if facts.issue["state"] == STATES[MENDED]:
        told.append(
            ("MENDED ON RECORD", f"by {one_line(facts.issue['mending_work'], 30) or 'a work'}: look again before digging.")
        )
    else:
        here = _works_here(facts)
        since = here[here["done_on"] > pd.Timestamp(facts.issue["last_seen"])]["work"]
        if len(since):
            names = _listed([one_line(name, 24) for name in since])
            told.append(("WORK SINCE", f"{names} was done here after this was last seen: look again before digging."))
    return told


def open_words(facts: DigFacts, unit: str) -> dict[str, str]:
    """The stretch to open along the line, and the tolerance across it."""
    low, high = facts.place.open_m
    return {
        "along": stretch(low, high, unit),
        "length": length(high - low, unit),
        "across": length(facts.place.across_m, unit),
        "within": length(facts.issue["within_m"], unit),
        "depth": "" if facts.depth.depth_m is None else length(facts.depth.depth_m, unit),
        "how": one_line(facts.depth.how, 150),
    }


def measure_rows(facts: DigFacts, unit: str) -> list[tuple[str, str]]:
    """From which known point, how far, and which way."""
    names = {"clean-out": "clean-out ", "property line": "", "tie-in": "", "building": ""}
    rows = []
    for point in facts.measures:
        name = names.get(point.kind, "") + one_line(point.name, 24)
        rows.append((f"from the {name} towards the {point.towards}", length(point.away_m, unit)))
    if not any(point.kind == "property line" for point in facts.measures):
        rows.append(("property line", "not known"))
    if not any(point.kind == "clean-out" for point in facts.measures):
        rows.append(("clean-out", "none known"))
    return rows


def tie_rows(pairs: Sequence[TiePair], letters: Sequence[tuple[str, str]], unit: str) -> list[dict[str, Any]]:
    """Each pair of ties: its two rows (letter, name, distance, place), and on which side of their line the place lies."""

    def row(letter: str, tie: Tie) -> dict[str, Any]:
        return {"letter": letter, "name": one_line(tie.name, 90), "distance": tape(tie.distance_m, unit), "tie": tie}

    told = []
    for pair, (first, second) in zip(pairs, letters, strict=True):
        street = {True: "on the street side", False: "on the side away from the street", None: ""}[pair.street_side]
        where = f"{street} ({pair.wind})" if street else pair.wind
        told.append(
            {
                "rows": [row(first, pair.first), row(second, pair.second)],
                "side": f"The place is {where} of the line {first}–{second}; the tapes cross at {pair.angle_deg:.0f}°.",
            }
        )
    return told


def sighting_rows(facts: DigFacts, most: int) -> tuple[list[dict[str, str]], int]:
    """The last sightings, newest first, and how many earlier ones there are."""
    rows = facts.sightings.iloc[::-1]
    told = [_sighting(row) for row in rows.head(most).to_dict("records")]
    return told, max(len(rows) - most, 0)


def work_rows(facts: DigFacts, unit: str) -> tuple[list[str], int]:
    """Works on the stretch, the newest first, as sentences, and how many earlier ones there are."""
    on_it = _works_here(facts).iloc[::-1]
    told = []
    for work in on_it.head(MOST_WORKS).to_dict("records"):
        part = "" if pd.isna(work["from_measure_m"]) or pd.isna(work["to_measure_m"]) else (
            ", " + stretch(work["from_measure_m"], work["to_measure_m"], unit)
        )  # fmt: skip
        by = f" by {one_line(work['by'], 24)}" if one_line(work["by"]) else ""
        told.append(f"{_day(work['done_on'])}: {one_line(work['kind'], 24)} {one_line(work['work'], 24)}{by}{part}")
    return told, max(len(on_it) - MOST_WORKS, 0)


def place_words(facts: DigFacts) -> str:
    """The spot's coordinates, in the map's CRS and on the globe."""
    place = facts.place
    return (
        f"{place.spot.x:.2f}, {place.spot.y:.2f} in {one_line(place.crs, 50)}; lat {place.lat:.7f}, lon {place.lon:.7f} (WGS 84)"
    )


def nearest_words(facts: DigFacts, unit: str) -> str:
    """The nearest main and street, as the map draws them, and how far and which way they are."""
    told = []
    spot = facts.place.spot
    for what, layer, name in (("main", facts.ground.mains, "main"), ("street", facts.ground.streets, "street")):
        if layer.empty:
            told.append(f"No {what} is on the map within {length(VIEW_M, unit)}.")
            continue
        shapes = layer["geometry"].to_numpy()
        row = int(shapely.distance(spot, shapes).argmin())
        foot = shapely.get_point(shapely.shortest_line(spot, shapes[row]), 1)
        away = length(float(shapely.distance(spot, shapes[row])) * facts.place.metres_per_unit, unit)
        way = wind_of((foot.x - spot.x, foot.y - spot.y))
        told.append(f"{what.capitalize()} {one_line(layer[name].iloc[row], 30)} lies {away} {way} of the place.")
    return " ".join(told)


def base_words(facts: DigFacts, unit: str) -> str:
    """How far the drawn line, and all that is drawn, may be off."""
    off = facts.lateral["map_accuracy_m"]
    told = half_inches(off) + f" ({off:.2f} m)" if unit == "ft" else f"{off:.2f} m"
    return f"All lines and corners are where the map draws them: good to {told} (one sigma)."


def _works_here(facts: DigFacts) -> pd.DataFrame:
    """Works that touch the stretch to open; one without a stretch of its own was done to the whole line."""
    low, high = facts.place.open_m
    works = facts.works
    begins, ends = works["from_measure_m"].to_numpy(float), works["to_measure_m"].to_numpy(float)
    here: pd.DataFrame = works[~((begins > high) | (ends < low))]
    return here


def _sighting(row: dict[Hashable, Any]) -> dict[str, str]:
    reading = one_line(row["reading"], 14)
    until = one_line(row["to_reading"], 14)
    reading += f" to {until}" if until else ""
    # As it was written; the run's unit is told where the text has none of its own.
    own = any(sign.isalpha() or sign in "'\"′″" for sign in reading.replace(" to ", " "))
    percent = "" if pd.isna(row["percent"]) else f", {row['percent']:g} %"
    grade = "" if pd.isna(row["grade"]) else f", grade {row['grade']:g}"
    return {
        "day": _day(row["ran_on"]),
        "run": one_line(row["run"], 16),
        "crew": one_line(row["crew"], 18),
        "reading": reading if own or not reading else f"{reading} {one_line(row['unit'], 4)}",
        "seen": one_line(row["kind"], 20) + percent + grade,
        "remark": one_line(row["remark"], 46),
    }


def _day(day: Any) -> str:
    return "day unknown" if pd.isna(day) else f"{day:%Y-%m-%d}"


def _listed(names: list[str]) -> str:
    more = len(names) - MOST_NAMES
    return ", ".join(names[:MOST_NAMES]) + (f" and {more} more" if more > 0 else "")
