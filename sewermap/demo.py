"""The demo: the invented town of ``sample_gis``, copied into a folder, loaded and shown on a map."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from importlib import resources
from pathlib import Path

import pandas as pd

from etl.plan import read_plan
from sample_gis import plan_names
from sample_gis.streets import TOWN
from sewermap.book import Book, create_book
from sewermap.errors import SewermapError

DATABASE = "town.gpkg"


@dataclass(frozen=True)
class Demo:
    """What was made, and names in it that a newcomer can try commands with.

    On ``day``, ``issue`` may be claimed under ``warranty``, and some checks are due.
    """

    town: str
    plans: tuple[Path, ...]
    database: Path
    page: Path
    rows_read: int
    rows_rejected: int
    laterals: int
    runs: int
    observations: int
    street: str
    lateral: str
    run: str
    reading: str
    day: date
    warranty: str
    issue: str


def make_demo(folder: Path, tell: Callable[[str], None]) -> Demo:
    """Copy the town's files into ``folder``, load them and build the map; ``tell`` hears each step.

    Raises SewermapError where the folder already holds a database.
    """
    database = folder / DATABASE
    if database.exists():
        raise SewermapError(f"'{database}' is there already; name another folder, or remove it first")
    tell(f"copying the invented town's files to {folder} …")
    copy_town(folder)
    plans = [folder / name for name in plan_names()]
    tell("making the database and loading; the very first time this takes half a minute, while matching is compiled …")
    book = create_book(database, str(read_plan(plans[0]).crs))
    reports = [book.load(plan) for plan in plans]
    counts = pd.concat([report.files for report in reports])
    worst = _worst_defect(book)
    day, claim = _open_claim(book)
    tell("drawing the pages and the sheets for digging …")
    files = book.site(folder / "site", title=f"{TOWN} – an invented town", as_of=day)
    return Demo(
        town=TOWN,
        plans=tuple(plans),
        database=database,
        page=files[0],
        rows_read=int(counts["read"].sum()),
        rows_rejected=int(counts["rejected"].sum()),
        laterals=len(book.layer("laterals")),
        runs=len(book.layer("runs")),
        observations=len(book.layer("placed_observations")),
        street=str(worst["street"]),
        lateral=str(worst["lateral"]),
        run=str(worst["run"]),
        reading=str(worst["reading"]),
        day=day,
        warranty=str(claim["warranty"]),
        issue=str(claim["issue"]),
    )


def copy_town(folder: Path) -> None:
    """Copy the invented town's files into a folder. Raises SewermapError where they cannot be written."""

    def copy(source: resources.abc.Traversable, target: Path) -> None:
        if source.is_dir():
            target.mkdir(parents=True, exist_ok=True)
            for child in source.iterdir():
                copy(child, target / child.name)
        else:
            target.write_bytes(source.read_bytes())

    try:
        copy(resources.files("sample_gis") / "data", folder)
    except OSError as error:
        raise SewermapError(f"the town cannot be written to '{folder}': {error.strerror or error}") from error


def _open_claim(book: Book) -> tuple[date, pd.Series]:
    """The last day of which the files tell, or one some months before, and a claim that can still be told in time on it.

    Such a day has checks that are due too.
    """
    last = pd.concat([book.layer("runs")["ran_on"], book.layer("works")["done_on"]]).max()
    for months in range(12):
        day = (last - pd.Timedelta(days=30 * months)).date()
        claims = pd.DataFrame(book.claims(day))
        claims = claims[claims["days_left"] >= 0]
        if len(claims) and len(book.due(day)):
            return day, claims.iloc[0]
    raise SewermapError("the invented town has no open claim; its files are not those that were installed")


def _worst_defect(book: Book) -> pd.Series:
    """A sighting of the worst issue that came back, to try commands with."""
    issues = book.defects().sort_values(["is_repeat", "grade", "issue"], ascending=[False, False, True], na_position="last")
    seen = book.layer("placed_observations")
    # A reading without quotation marks is easier to type.
    seen = seen[seen["measure_m"].notna() & ~seen["reading"].str.contains("['\",]", na=True)]
    found = issues[["issue"]].merge(pd.DataFrame(seen), on="issue")
    return found.iloc[0]
