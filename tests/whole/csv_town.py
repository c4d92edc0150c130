"""The sample town's warranties, works and runs as plain Python makes them out of its files: nothing of the program is used.

A second opinion for the due list: days by ``datetime``, rows by ``csv``, lengths by ``math`` from the coordinates of the drawn
lines, and the stretch that a run passed as its counter shows it, without a word about errors.
"""

import calendar
import csv
import datetime as dt
import itertools
import math
import re
import tomllib
from dataclasses import dataclass
from pathlib import Path

import fiona

FOOT_M = 0.3048
BEYOND_M = 0.1
"""docs/places.md: a reading so far past the end of the push is covered."""

CREWS = {
    "brindlefold": {
        "encoding": "utf-8", "separator": ",", "day": "%m/%d/%Y",
        "runs": ("Job", "Line", "Date", "Put In At", "Headed", "Counter Start", "Counter End", "Riser"),
        "seen": ("Job", "Footage", "Footage To"),
    },
    "brumelaine": {
        "encoding": "cp1252", "separator": ";", "day": "%d.%m.%Y",
        "runs": (
            "Passage", "Branchement", "Jour", "Départ", "Sens", "Compteur au départ", "Compteur à l'arrivée", "Regard vertical",
        ),
        "seen": ("Passage", "Relevé", "Jusqu'à"),
    },
    "fennimole": {
        "encoding": "utf-8-sig", "separator": "\t", "day": "%Y-%m-%d",
        "runs": ("job no", "house", "day", "went in at", "which way", "counter at start", "counter at end", "cable in riser"),
        "seen": ("job no", "counter", "till"),
    },
}  # fmt: skip
TERM = r"P(?:(\d+)Y)?(?:(\d+)M)?(?:(\d+)W)?(?:(\d+)D)?"
AT_HOUSE = ("house", "bâtiment", "house wall", "")
AT_MAIN = ("main", "conduite", "street main")


@dataclass(frozen=True)
class Run:
    """A push: who, where, when, and the stretch it passed in metres from the tie-in."""

    name: str
    lateral: str
    day: dt.date
    low_m: float
    high_m: float


@dataclass(frozen=True)
class Warranty:
    """A line of warranties.csv, its days worked out."""

    name: str
    lateral: str
    begins: dt.date
    ends: dt.date
    opens: dt.date
    low_m: float
    high_m: float


def metres(text: str, crew: str) -> float:
    """What a counter showed: feet with a decimal, metres with a decimal comma, or feet and inches."""
    if crew == "brumelaine":
        return float(text.replace(",", "."))
    if crew == "brindlefold":
        return float(text) * FOOT_M
    feet, inches = re.fullmatch(r"(?:(\d+)')? ?(?:(\d+(?:\.\d+)?)\")?", text).groups()
    return (float(feet or 0) + float(inches or 0) / 12.0) * FOOT_M


def later(day: dt.date, term: str) -> dt.date:
    """The day at the end of a term of ISO 8601: months are counted on the calendar, and a day that the last month lacks becomes
    its last (so a year from 29 February ends on the 28th); then the days.
    """
    years, months, weeks, days = (int(number or 0) for number in re.fullmatch(TERM, term).groups())
    count = day.year * 12 + day.month - 1 + 12 * years + months
    year, month = divmod(count, 12)
    last = calendar.monthrange(year, month + 1)[1]
    return dt.date(year, month + 1, min(day.day, last)) + dt.timedelta(days=7 * weeks + days)


class CsvTown:
    """The town's files, read."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.lines, self.houses = self._lines()
        self.clean_outs = self._clean_outs()
        wrong = [row for row in self._rows(folder / "truth" / "bad_rows.csv") if row["expect"] == "rejected"]
        self.wrong = {(row["file"], int(row["row"])) for row in wrong}
        self.runs = [run for crew in CREWS for run in self._runs(crew)]
        recorded = self._rows(folder / "office" / "warranties.csv")
        self.warranties = [self._warranty(row) for row in [*recorded, *self._opened_by_works(recorded)]]

    def _rows(self, path: Path, encoding: str = "utf-8", separator: str = ",") -> list[dict[str, str]]:
        with path.open(encoding=encoding, newline="") as file:
            return list(csv.DictReader(file, delimiter=separator))

    def _lines(self) -> tuple[dict[str, list[tuple[float, float]]], dict[str, str]]:
        """Each lateral's vertices from the main to the house, and each house's lateral; the map is in metres."""
        with fiona.open(f"zip://{self.folder / 'gis' / 'mains.shp.zip'}") as mains:
            pipes = [row.geometry.coordinates for row in mains]
        lines, houses = {}, {}
        with fiona.open(self.folder / "gis" / "town.gpkg", layer="service_lines") as drawn:
            for row in drawn:
                # Parts that follow each other are one line; the one line whose parts do not meet is no lateral of any warranty.
                vertices = [tuple(point[:2]) for part in row.geometry.coordinates for point in part]
                if min(off(vertices[-1], pipe) for pipe in pipes) < min(off(vertices[0], pipe) for pipe in pipes):
                    vertices.reverse()
                lines[row.properties["LINE_NO"]] = vertices
                houses[row.properties["HOUSE"]] = row.properties["LINE_NO"]
        return lines, houses

    def length_m(self, lateral: str) -> float:
        """The length of a lateral as it is drawn."""
        line = self.lines[lateral]
        return sum(math.dist(one, other) for one, other in itertools.pairwise(line))

    def _clean_outs(self) -> dict[tuple[str, str], float]:
        """The measure of each clean-out, as written or as its foot on the line."""
        found = {}
        for row in self._rows(self.folder / "office" / "known-points.csv"):
            if row["kind"] == "clean-out":
                line = self.lines[row["lateral"]]
                measure = float(row["measure"]) if row["measure"] else foot((float(row["x"]), float(row["y"])), line)
                found[row["lateral"], row["name"]] = measure
        return found

    def _runs(self, crew: str) -> list[Run]:
        says = CREWS[crew]
        last = self._last_readings(crew)
        runs = []
        for path in sorted((self.folder / "logs" / crew).glob("runs-*")):
            for at, row in enumerate(self._rows(path, says["encoding"], says["separator"]), start=2):
                if (path.relative_to(self.folder).as_posix(), at) in self.wrong:
                    continue
                name, where, day, launch, way, start, end, riser = (row[column].strip() for column in says["runs"])
                lateral = self.houses.get(where, where)
                zero_m = sum(metres(text, crew) for text in (start, riser) if text)
                end_m = metres(end, crew) if end else last.get(name)
                paid_m = None if end_m is None else max(end_m - zero_m, 0.0) + BEYOND_M
                stretch = self._passed(lateral, launch, way, paid_m)
                ran_on = dt.datetime.strptime(day, says["day"]).date()  # noqa: DTZ007 (a day, no moment)
                runs.append(Run(name, lateral, ran_on, *stretch))
        return runs

    def _last_readings(self, crew: str) -> dict[str, float]:
        """The highest reading of each run."""
        says, last = CREWS[crew], {}
        for path in sorted((self.folder / "logs" / crew).glob("observations-*")):
            for at, row in enumerate(self._rows(path, says["encoding"], says["separator"]), start=2):
                if (path.relative_to(self.folder).as_posix(), at) not in self.wrong:
                    name, *texts = (row[column].strip() for column in says["seen"])
                    last[name] = max(last.get(name, 0.0), *(metres(text, crew) for text in texts if text))
        return last

    def _passed(self, lateral: str, launch: str, way: str, paid_m: float | None) -> tuple[float, float]:
        """From the launch as far as the cable was paid out, no further than the line's ends; nothing where that is not known."""
        if paid_m is None:
            return math.nan, math.nan
        whole = self.length_m(lateral)
        begun = whole if launch in AT_HOUSE else 0.0 if launch in AT_MAIN else self.clean_outs[lateral, launch]
        up = way in ("to building", "vers le bâtiment", "up the line") or (not way and launch in AT_MAIN)
        ended = begun + paid_m if up else begun - paid_m
        return max(min(begun, ended), 0.0), min(max(begun, ended), whole)

    def _opened_by_works(self, recorded: list[dict[str, str]]) -> list[dict[str, str]]:
        """Works that open a warranty by the town's rule file, as lines of warranties.csv; not those that a warranty names."""
        rules = tomllib.loads((self.folder / "rules" / "warranties.toml").read_text(encoding="utf-8"))["works"]
        named = {row["work"] for row in recorded}
        return [
            {
                "warranty": f"{work['work']}·own", "lateral": work["lateral"], "begins_on": work["done_on"],
                "term": rules[work["kind"]]["term"], "check_lead": str(rules[work["kind"]].get("check_lead", 60)),
                "from_measure": work["from_measure"], "to_measure": work["to_measure"],
            }
            for work in self._rows(self.folder / "office" / "works.csv")
            if work["kind"] in rules and work["work"] not in named
        ]  # fmt: skip

    def _warranty(self, row: dict[str, str]) -> Warranty:
        begins = dt.date.fromisoformat(row["begins_on"])
        ends = later(begins, row["term"])
        whole = self.length_m(row["lateral"])
        return Warranty(
            row["warranty"],
            row["lateral"],
            begins,
            ends,
            ends - dt.timedelta(days=int(row["check_lead"])),
            float(row["from_measure"] or 0.0),
            min(float(row["to_measure"] or whole), whole),
        )

    def shares(self, warranty: Warranty) -> dict[dt.date, float]:
        """For each day of runs in the check window the share of the stretch that they passed together."""
        days: dict[dt.date, list[tuple[float, float]]] = {}
        for run in self.runs:
            inside = max(warranty.opens, warranty.begins) <= run.day <= warranty.ends
            if run.lateral == warranty.lateral and inside and not math.isnan(run.low_m):
                piece = max(run.low_m, warranty.low_m), min(run.high_m, warranty.high_m)
                days.setdefault(run.day, []).append(piece)
        whole = warranty.high_m - warranty.low_m
        return {day: joined(pieces) / whole for day, pieces in days.items()}


def joined(pieces: list[tuple[float, float]]) -> float:
    """The length of pieces of a line, each metre counted once."""
    total, reached = 0.0, -math.inf
    for low, high in sorted(pieces):
        total += max(high - max(low, reached), 0.0)
        reached = max(reached, high)
    return total


def foot(point: tuple[float, float], line: list[tuple[float, float]]) -> float:
    """The measure of the place of a line that is nearest to a point."""
    best, walked = (math.inf, 0.0), 0.0
    for one, other in itertools.pairwise(line):
        away, along = _to_part(point, one, other)
        best = min(best, (away, walked + along))
        walked += math.dist(one, other)
    return best[1]


def off(point: tuple[float, float], line: list[tuple[float, ...]]) -> float:
    """How far a point is from a line."""
    return min(_to_part(point, one, other)[0] for one, other in itertools.pairwise(line))


def _to_part(point: tuple[float, float], one: tuple[float, ...], other: tuple[float, ...]) -> tuple[float, float]:
    """The distance of a point from a straight part, and how far along it its foot is."""
    length = math.dist(one[:2], other[:2])
    along = sum((p - a) * (b - a) for p, a, b in zip(point, one, other, strict=False)) / length if length else 0.0
    along = min(max(along, 0.0), length)
    where = [a + (b - a) * along / length if length else a for a, b in zip(one[:2], other[:2], strict=True)]
    return math.dist(point, where), along
