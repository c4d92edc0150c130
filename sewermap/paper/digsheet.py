"""The dig sheet: one printed page for the crew that opens the ground at an issue."""

from collections.abc import Sequence
from datetime import date
from pathlib import Path

from sewermap.answers.dig import DigFacts
from sewermap.cautions import DIG
from sewermap.errors import UnknownNameError
from sewermap.paper import sheet_words as words
from sewermap.paper.markup import page
from sewermap.paper.pictures import Picture, pictures_in
from sewermap.paper.plan_detail import detail
from sewermap.paper.plan_drawing import plan, tie_letters
from sewermap.paper.strip_drawing import strip
from sewermap.paper.words import one_line

PAPERS = {"letter": ("letter", 262), "a4": ("A4", 280)}
"""Papers as an ``@page`` rule names them, and the height in millimetres that 8 mm of margin leave; 194 mm of width fit both."""

_USUAL_MM, _LEAST_MM, _MOST_MM = 84.0, 58.0, 104.0
"""Height of the plan's map where the sheet says what it usually says, and its bounds."""

_ROOM_MM = 40.0
"""What the usual plan leaves, on letter, for all of which there may be more or less."""

_STOP_MM, _WARNING_MM, _PAIR_MM, _ROW_MM, _PICTURES_MM = 15.2, 4.4, 15.8, 3.7, 30.0
"""Height of the order to stop, of a line of warning, of a pair of ties, of a row of what was seen, and of pictures beside it."""

_NO_TIES_MM = 8.5
_LINE_SIGNS, _SIDE_SIGNS, _REMARK_SIGNS = 90, 60, 22
"""Signs on a line of warning, of the side, and of a remark."""

UNITS = ("ft", "m")
MOST_SHOWN = 2
NO_TIES = (
    "No good swing ties are to be had here: no two fixed points in sight, within 30 m, whose tapes cross at 40° to 140°. "
    "Use the measures along the line, or have the place set out by coordinates."
)


def digsheet(
    facts: DigFacts,
    printed_on: date,
    *,
    units: str | None = None,
    paper: str = "letter",
    picture_folders: Sequence[Path] = (),
) -> str:
    """The sheet as one HTML page without scripts, which brings all that it shows.

    ``units`` (ft or m; None: that of the last run that saw the issue) is what lengths are told in first, ``paper`` is letter or
    a4. Pictures that the sightings name are looked for in the folders, in their order; the others are named. The same facts and
    day give the same text. Raises UnknownNameError for a unit or paper that is not known.
    """
    unit = units or facts.unit
    if unit not in UNITS or paper not in PAPERS:
        raise UnknownNameError(f"units are {' or '.join(UNITS)} and paper is {' or '.join(PAPERS)}, not '{unit}' and '{paper}'")
    stop, warnings = words.stop_words(facts), words.warnings(facts, unit)
    # The order to stop and what must not be overlooked come before the oldest sightings.
    most = words.MOST_SIGHTINGS if stop is None and len(warnings) < words.MANY_WARNINGS else words.MOST_SIGHTINGS // 2
    sightings, earlier = words.sighting_rows(facts, most)
    works, earlier_works = words.work_rows(facts, unit)
    shown, named = _pictures(facts, picture_folders)
    rows = sum(1 + len(row["remark"]) // _REMARK_SIGNS for row in sightings) + len(works)
    rows += (earlier > 0) + (earlier_works > 0) + 2 * (len(named) > 0)
    head = words.headline(facts)
    height_mm = _map_height_mm(
        PAPERS[paper][1],
        _STOP_MM * (stop is not None)
        + _WARNING_MM * sum(1 + len(word + meaning) // _LINE_SIGNS for word, meaning in warnings)
        + _WARNING_MM * (len(head["side"]) // _SIDE_SIGNS)
        + (_PAIR_MM * len(facts.ties) or _NO_TIES_MM)
        + max(_ROW_MM * rows, _PICTURES_MM * (len(shown) > 0)),
    )
    close, close_frame = detail(facts, unit, height_mm - (_USUAL_MM - 45.0))
    return page(
        "digsheet.html",
        issue=one_line(facts.issue["issue"], 40),
        paper=PAPERS[paper][0],
        height_mm=PAPERS[paper][1],
        stop=stop,
        head=head,
        warnings=warnings,
        plan=plan(facts, unit, height_mm),
        strip=strip(facts, unit),
        open=words.open_words(facts, unit),
        measures=words.measure_rows(facts, unit),
        ties=words.tie_rows(facts.ties, tie_letters(facts.ties), unit),
        no_ties=NO_TIES,
        place=words.place_words(facts),
        spot=facts.place.spot,
        base=words.base_words(facts, unit),
        nearest=words.nearest_words(facts, unit),
        sightings=sightings,
        earlier=earlier,
        works=works,
        earlier_works=earlier_works,
        shown=shown,
        named=named,
        cautions=DIG,
        detail=close,
        detail_scale=close_frame.scale_words,
        database=one_line(Path(facts.database).name, 60),
        printed_on=printed_on.isoformat(),
    )


def _map_height_mm(sheet_mm: float, used_mm: float) -> float:
    """Height of the plan's map: what the rest of the sheet, whose size varies by ``used_mm``, leaves of it."""
    left = sheet_mm - PAPERS["letter"][1] + _ROOM_MM - used_mm
    return float(round(min(max(_USUAL_MM + left, _LEAST_MM), _MOST_MM)))


def _pictures(facts: DigFacts, folders: Sequence[Path]) -> tuple[list[Picture], list[str]]:
    """The pictures on the page, the newest first, and a line on each that is not."""
    names = [str(name) for name in facts.sightings["picture"].dropna().iloc[::-1]]
    found = pictures_in(names, folders)
    shown = [Picture(one_line(picture.name, 30), picture.data) for picture in found if picture.data][:MOST_SHOWN]
    kept = {picture.data for picture in shown}
    left = [
        f"{one_line(picture.name, 40)} ({picture.why or 'no room here'})"
        for picture in found
        if picture.data not in kept or not picture.data
    ]
    more = len(left) - words.MOST_NAMES
    return shown, left[: words.MOST_NAMES] + ([f"and {more} more"] if more > 0 else [])
