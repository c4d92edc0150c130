"""A draft of a notice to whoever answers under a warranty: facts, evidence and days, in plain words. No legal advice."""

from datetime import date, timedelta
from pathlib import Path
from typing import Any

from sewermap.answers.evidence import Evidence
from sewermap.cautions import CROSS_BORE, DIG, DRAFT, STOP
from sewermap.errors import SewermapError
from sewermap.history.life import MENDED, STATES
from sewermap.paper import case_words as words
from sewermap.paper.letter import Block, Facts, Heading, Items, Paragraph, Point, Title, Warn, page, plain_text
from sewermap.paper.print_pdf import print_pdf
from sewermap.plain import records

SUFFIXES = (".txt", ".html", ".pdf")
BLANK = "_" * 30
CLEAR_FIRST = "First of all: nobody cuts, jets or digs at a suspected cross-bore before the gas utility has said that it is safe."
DIGGING = (DIG[0], DIG[-1])


def notice_blocks(case: Evidence) -> list[Block]:
    """The draft for a warranty's evidence: who, what, by when; or, where nothing may be claimed, that this is so."""
    claims = case.facts["claims"]
    open_ones = [claim for claim in claims if claim["state"] != STATES[MENDED]]
    mended = [claim for claim in claims if claim["state"] == STATES[MENDED]]
    body = _letter(case, open_ones) if open_ones else _nothing(case)
    return [*_before_sending(case, open_ones), *body, *_mended(case, mended), *_looked(case), *_end(has_claims=bool(open_ones))]


def notice_text(case: Evidence) -> str:
    """The draft as plain text, for a mail."""
    return plain_text(notice_blocks(case))


def notice_page(case: Evidence) -> str:
    """The draft as a page made for print."""
    return page(notice_blocks(case), f"Draft notice, warranty {case.name}", "DRAFT")


def write_notice(case: Evidence, out: Path) -> None:
    """Write the draft to a file: .txt, .html or .pdf by its suffix. Raises SewermapError."""
    suffix = out.suffix.lower()
    if suffix not in SUFFIXES:
        raise SewermapError(f"'{out.name}': the suffix names the format of a notice; known are {', '.join(SUFFIXES)}")
    if suffix == ".pdf":
        print_pdf(notice_page(case), out)
        return
    try:
        out.write_text(notice_page(case) if suffix == ".html" else notice_text(case), encoding="utf-8", newline="\n")
    except OSError as error:
        raise SewermapError(f"'{out}' cannot be written: {error.strerror or error}") from error


def _before_sending(case: Evidence, claims: list[dict[str, Any]]) -> list[Block]:
    """What the sender must know, and the receiver need not."""
    notes: list[Block] = [Heading("Before this is sent (take this part out)"), Warn(f"DRAFT. {DRAFT}")]
    if not claims:
        return notes[1:]
    notes.append(_send_by(_last_day(case, claims), _day(case)))
    if not case.facts["warranty"]["answerable"]:
        notes.append(Warn("Nobody is recorded who answers for this warranty: find out first."))
    doubts = [
        f"Issue {claim['issue']}: {words.state_told(claim)}. Look first." for claim in claims if claim["state"] in words.DOUBTFUL
    ]
    return [*notes, *([Items(tuple(doubts))] if doubts else [])]


def _letter(case: Evidence, claims: list[dict[str, Any]]) -> list[Block]:
    warranty = case.facts["warranty"]
    several = len(claims) > 1
    count = f"{len(claims)} defects" if several else "1 defect"
    where = words.place_told(case.facts["lateral"]) if case.facts["lateral"] else ""
    subject = f"{count} in the building sewer {warranty['lateral']}" + (f", {where}" if where else "")
    heads = [("to", warranty["answerable"] or BLANK), ("from", BLANK), ("day of sending", BLANK), ("subject", subject)]
    blocks: list[Block] = [
        Title(f"Notice under warranty {case.name}"),
        *words.stop_told(case),
        Facts(tuple(heads)),
        Paragraph(
            f"Under the warranty named below we give notice of {count} in the building sewer named below, as recorded on "
            f"{_day(case)}, and ask that {'they are' if several else 'it is'} put right at the cost of whoever answers for it."
        ),
        Facts((*words.line_rows(case.facts["lateral"], warranty["lateral"]), *words.warranty_rows(warranty))),
        Heading("What is claimed"),
    ]
    for number, claim in enumerate(claims, 1):
        blocks += _issue(case, claim, f"{number}. ")
    clear: list[Block] = [Paragraph(CLEAR_FIRST)] if case.cross_bores else []
    return [*blocks, Heading("What is asked"), *clear, *_asked(warranty, _day(case), _last_day(case, claims))]


def _day(case: Evidence) -> date:
    return date.fromisoformat(case.facts["as_of"])


def _last_day(case: Evidence, claims: list[dict[str, Any]]) -> date:
    """The first of the days that can still be kept; where none can, the last that could."""
    days = [date.fromisoformat(claim["notice_by"]) for claim in claims]
    return min((day for day in days if day >= _day(case)), default=max(days))


def _send_by(last: date, day: date) -> Block:
    days = (last - day).days
    if days < 0:
        past = f"{-days} day{'s' if days < -1 else ''} ago"
        return Warn(f"TOO LATE? The day by which this notice had to be sent is past: {last}, {past} as of {day}.")
    left = {0: "that is the day itself", 1: "one day is left"}.get(days, f"{days} days are left")
    return Warn(f"To be sent by {last}; as of {day}, {left}.")


def _issue(case: Evidence, claim: dict[str, Any], number: str = "") -> list[Block]:
    """One defect with what was seen of it, in order of time."""
    seen = records(case.sightings[(case.sightings["issue"] == claim["issue"]).to_numpy()])
    pictures = ", ".join(dict.fromkeys(row["picture"] for row in seen if row["picture"]))
    rows: list[tuple[str, ...]] = [
        ("why it is claimed", str(claim["reason"])),
        ("notice by", str(claim["notice_by"])),
        ("seen", *(words.sighting_told(row) for row in seen)),
        *([("pictures", pictures)] if pictures else []),
    ]
    stop = [Warn(STOP)] if claim["kind"] == CROSS_BORE else []
    return [Point(f"{number}{claim['kind']}, issue {claim['issue']}"), *stop, Facts((*words.issue_rows(claim), *rows))]


def _asked(warranty: dict[str, Any], day: date, last: date) -> list[Block]:
    cure = int(warranty["cure"])
    sent = [f"sent on {day}, that is by {_after(day, cure)}"]
    if last > day:
        sent.append(f"sent on the last day, {last}, that is by {_after(last, cure)}")
    return [
        Paragraph(f"We ask that what is listed above is put right within {cure} days of this notice: {'; '.join(sent)}."),
        Facts((("to be put right by", BLANK), ("name, signature", BLANK))),
        Paragraph("Please tell us the day beforehand. A camera should go through the line again afterwards."),
    ]


def _after(day: date, days: int) -> date:
    return day + timedelta(days=min(days, (date.max - day).days))


def _nothing(case: Evidence) -> list[Block]:
    warranty, day = case.facts["warranty"], case.facts["as_of"]
    return [
        Title(f"Nothing to claim under warranty {case.name}"),
        *words.stop_told(case),
        Paragraph(
            f"As of {day} nothing open is recorded that could be claimed under this warranty: no defect of its kinds on its "
            "stretch that was first seen within its term, that the acceptance run had not seen already, and that is not mended "
            "by now. No notice needs to be sent for what is recorded. What nobody looked at may still hide a defect."
        ),
        Facts((*words.line_rows(case.facts["lateral"], warranty["lateral"]), *words.warranty_rows(warranty))),
    ]


def _mended(case: Evidence, claims: list[dict[str, Any]]) -> list[Block]:
    """What was claimable and is mended since: told apart, for the record."""
    if not claims:
        return []
    blocks: list[Block] = [Heading("Mended since, not claimed here")]
    for claim in claims:
        blocks += _issue(case, claim)
    return blocks


def _looked(case: Evidence) -> list[Block]:
    """All runs and works until the day: they show too where nothing was seen."""
    runs, works = [words.run_told(row) for row in records(case.runs)], [words.work_told(row) for row in records(case.works)]
    blocks: list[Block] = [Heading("How the line was looked at"), Items(tuple(runs or ["no run is recorded"]))]
    return [*blocks, Heading("Work on the line"), Items(tuple(works))] if works else blocks


def _end(*, has_claims: bool) -> list[Block]:
    enclosed = [
        Paragraph("Enclosed: the evidence folder (sewermap evidence), with the readings as written, pictures and checksums.")
    ]
    return [*(enclosed if has_claims else []), Heading("Please note"), Items((words.PLACES, *DIGGING))]
