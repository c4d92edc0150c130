"""The draft of a notice: what it says and never leaves out, and that no text from data becomes markup or a line of its own."""

import datetime as dt
from pathlib import Path

import pytest

from sewermap.answers.evidence import Evidence
from sewermap.cautions import DRAFT, STOP
from sewermap.errors import SewermapError, UnknownNameError
from sewermap.paper.letter import Facts, Items, Paragraph, Title, Warn, page, plain_text
from sewermap.paper.notice import notice_page, notice_text, write_notice
from tests.cli.running import good
from tests.cli.running import sewermap as run
from tests.paper.warranty_town import HOSTILE_STREET, WARRANTIES, PaperTown, paper_town

SEEN, MENDED, TOO_LATE = dt.date(2025, 1, 15), dt.date(2025, 2, 10), dt.date(2025, 3, 5)
HOSTILE = "<script>alert(1)</script>\n\u202e& \"quoted\" 'text'\x00{{ 7 * 7 }}"


@pytest.fixture(scope="module")
def town(tmp_path_factory: pytest.TempPathFactory) -> PaperTown:
    """The small town, not to be changed."""
    folder = tmp_path_factory.mktemp("notice")
    return paper_town(str(folder / "town.gpkg"), folder / "town")


def draft(town: PaperTown, day: dt.date, warranty: str = "G-1") -> str:
    """The draft as running text, its line breaks taken out."""
    return " ".join(notice_text(case(town, day, warranty)).replace("***", " ").split())


def case(town: PaperTown, day: dt.date, warranty: str = "G-1") -> Evidence:
    """What a notice is made of."""
    return town.book.evidence_of(warranty, day, what="warranty")


def test_a_notice_says_who_what_where_and_by_when(town: PaperTown) -> None:
    """It names who answers, the line, the warranty's days, each defect with its place, reading and reason, and the days."""
    text = draft(town, SEEN)
    for told in (
        "to Northlight; & Sons, Ltd.",
        "lateral L-1, 12 Elm Lane",
        "term 2024-02-29 (final inspection) to 2025-02-28, that day included (P1Y)",
        "To be sent by 2025-02-28; as of 2025-01-15, 44 days are left.",
        "within 10 days of this notice: sent on 2025-01-15, that is by 2025-01-25; ",
        "sent on the last day, 2025-02-28, that is by 2025-03-10.",
        "49 ft 3 in (15.00 m) from the tie-in",
        "x 500015.00, y 4700000.00 (EPSG:26910)",
        "2025-01-10, run A-2 (-Southcrew): “=weird roots” (read as roots) at counter 5.0 (in m), 40 % of the bore",
        "picture shots/roots.jpg [office/observations.csv, row 2]",
        "first seen 2025-01-10 within the term; run A-1 of 2024-03-01 passed here and did not see it",
    ):
        assert told in text


def test_it_is_a_draft_and_no_legal_advice(town: PaperTown) -> None:
    """Draft and page say so, whether or not there is anything to claim."""
    for warranty in ("G-1", "G-2"):
        assert f"DRAFT. {DRAFT}" in draft(town, SEEN, warranty)
        assert "DRAFT" in notice_page(case(town, SEEN, warranty))


def test_a_suspected_cross_bore_stops_the_work(town: PaperTown) -> None:
    """STOP stands at the head of the letter and at the issue; a line without one says nothing of the kind."""
    text = draft(town, SEEN)
    assert text.index(STOP) < text.index("What is claimed") < text.rindex(STOP)
    assert text.index("before the gas utility has said that it is safe") < text.index("We ask that")
    assert STOP not in draft(town, SEEN, "G-2")


def test_what_is_mended_since_is_listed_apart(town: PaperTown) -> None:
    """Before the work the crack is claimed; after the work, while nobody looked, it is claimed with a doubt; then it is apart."""
    assert "Look first." not in draft(town, SEEN)
    unsure = draft(town, dt.date(2025, 1, 25))
    assert "work was done here since it was last seen, and nobody has looked again. Look first." in unsure
    claimed, _, apart = draft(town, MENDED).partition("Mended since, not claimed here")
    assert "notice of 2 defects" in claimed
    assert "crack" not in claimed.partition("What is claimed")[2]
    assert "mended: work was done, and a run that passed afterwards did not see it" in apart


def test_nothing_to_claim_is_said_plainly(town: PaperTown) -> None:
    """A warranty under which nothing was seen gives no letter, and says that no notice needs to be sent."""
    text = draft(town, SEEN, "G-2")
    assert "Nothing to claim under warranty G-2" in text
    assert "No notice needs to be sent" in text
    assert "We ask" not in text


def test_what_is_dated_later_is_left_out(town: PaperTown) -> None:
    """On the day before the run that saw them there is nothing to claim."""
    text = draft(town, dt.date(2025, 1, 9))
    assert "Nothing to claim" in text
    assert "A-2" not in text


def test_a_day_that_is_past_is_told(town: PaperTown) -> None:
    """On the last day nothing is past; afterwards the draft asks whether it is too late, and counts from the day it speaks of."""
    assert "To be sent by 2025-02-28; as of 2025-02-28, that is the day itself." in draft(town, dt.date(2025, 2, 28))
    late = draft(town, TOO_LATE)
    assert "TOO LATE?" in late
    assert "2025-02-28, 5 days ago as of 2025-03-05" in late
    assert "sent on 2025-03-05, that is by 2025-03-15." in late


@pytest.mark.parametrize(
    ("term", "cure", "ends", "right_by"),
    [
        ("P1Y", "10", "2025-02-28", "2025-01-25"),  # Florence, Kentucky § 50.029: one year, repairs within ten days (read)
        ("P2Y", "10", "2026-02-28", "2025-01-25"),  # Payson, Arizona § 94: two years (read)
        ("P24M", "21", "2026-02-28", "2025-02-05"),  # North East Water (Victoria): 24 months, within 21 days of notice (read)
    ],
)
def test_terms_of_public_ordinances(tmp_path: Path, term: str, cure: str, ends: str, right_by: str) -> None:
    """The day by which it is sent and the day by which it is put right follow each ordinance's terms."""
    town = paper_town(str(tmp_path / "town.gpkg"), tmp_path / "town")
    town.load([WARRANTIES[0], (*WARRANTIES[1][:3], term, "60", cure, *WARRANTIES[1][6:])])
    text = draft(town, SEEN)
    assert f"To be sent by {ends};" in text
    assert f"sent on 2025-01-15, that is by {right_by};" in text


def test_no_text_from_data_makes_a_line(town: PaperTown) -> None:
    """A remark with a line end cannot forge a sighting: no line of the draft begins with what stands behind it."""
    lines = [line.strip() for line in notice_text(case(town, SEEN)).splitlines()]
    assert not any(line.startswith(("and 2024-05-05", "2024-05-05")) for line in lines)
    assert "remark: roots, and 2024-05-05, run FALSE-1 (nobody): never" in draft(town, SEEN)
    assert max(map(len, lines)) <= 78


def test_hostile_text_is_text_in_both_forms() -> None:
    """Markup, template signs, controls and marks that turn the writing round do nothing, in the page and in the mail."""
    blocks = [Title(HOSTILE), Warn(HOSTILE), Paragraph(HOSTILE), Facts(((HOSTILE, HOSTILE, HOSTILE),)), Items((HOSTILE,))]
    markup, text = page(blocks, HOSTILE, "DRAFT"), plain_text(blocks)
    assert "<script" not in markup
    assert "49" not in markup.partition("</style>")[2]
    assert "default-src 'none'" in markup
    assert not set("\u202e\x00") & set(markup + text)
    assert text.count("<script>alert(1)</script>") == 7


def test_hostile_names_reach_the_page_as_text(town: PaperTown) -> None:
    """A street with quotation marks, a backslash and signs of another script is shown as it is written."""
    shown = notice_page(case(town, SEEN, "G-2"))
    assert HOSTILE_STREET.replace('"', "&#34;").replace("'", "&#39;") in shown
    assert HOSTILE_STREET in draft(town, SEEN, "G-2")


def test_an_unknown_warranty_names_the_nearest(town: PaperTown) -> None:
    """A name that is not known is refused, with the names that are near."""
    with pytest.raises(UnknownNameError, match="no warranty is called 'G-9'; the nearest are G-"):
        case(town, SEEN, "G-9")


def test_both_engines_give_the_same_draft(town: PaperTown, postgis_url: str, tmp_path: Path) -> None:
    """The draft does not depend on where the town is kept."""
    other = paper_town(postgis_url, tmp_path / "town")
    for day in (SEEN, MENDED, TOO_LATE):
        assert notice_text(case(other, day)) == notice_text(case(town, day))


def test_the_draft_is_written_by_suffix(town: PaperTown, tmp_path: Path) -> None:
    """Text, page and PDF by the file's suffix; any other is refused, and JSON holds the facts."""
    asked = ("notice", "g-1", "--as-of", SEEN, "--db", town.book.store.where)
    for suffix, starts in ((".txt", b"Before this is sent"), (".html", b"<!DOCTYPE html>"), (".pdf", b"%PDF")):
        out = tmp_path / f"notice{suffix}"
        assert good(run(*asked, "-o", out)).out == ""
        assert out.read_bytes().startswith(starts)
    assert good(run(*asked)).out == (tmp_path / "notice.txt").read_text(encoding="utf-8")
    assert run(*asked, "-o", tmp_path / "notice.doc").is_one_line_error
    assert run(*asked, "--format", "csv").status == 2
    facts = good(run(*asked, "--format", "json")).json
    assert [claim["issue"] for claim in facts["claims"]] == sorted({row["issue"] for row in facts["sightings"]})
    assert facts["warranty"]["ends_on"] == "2025-02-28"


def test_a_place_that_cannot_be_written_is_told(town: PaperTown) -> None:
    """A folder that is not there is an error in one sentence."""
    with pytest.raises(SewermapError, match="cannot be written"):
        write_notice(case(town, SEEN), town.folder / "nowhere" / "notice.txt")
