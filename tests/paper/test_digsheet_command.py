"""``sewermap digsheet`` as a user types it."""

from pathlib import Path

from sewermap.book import Book
from tests.cli.running import good, sewermap


def test_the_page_goes_to_standard_output_or_a_file(dig_book: Book, tmp_path: Path):
    """The same text either way; nothing else on standard output."""
    db, out = dig_book.store.where, tmp_path / "sheet.html"
    printed = good(sewermap("digsheet", "a-1/1", "--as-of", "2026-02-03", "--db", db)).out
    good(sewermap("digsheet", "A-1/1", "--as-of", "2026-02-03", "--db", db, "-o", out))
    assert out.read_text(encoding="utf-8") == printed
    assert printed.startswith("<!doctype html>")
    assert "Printed 2026-02-03" in printed
    assert "A4 portrait" in sewermap("digsheet", "A-1/1", "--paper", "a4", "--units", "m", "--db", db).out


def test_a_pdf_is_printed(dig_book: Book, tmp_path: Path):
    """-o FILE.pdf gives a PDF, and says to print it at 100 %."""
    out = tmp_path / "sheet.PDF"
    done = good(sewermap("digsheet", "B-1/1", "--db", dig_book.store.where, "-o", out))
    assert out.read_bytes().startswith(b"%PDF")
    assert done.out == ""
    assert "100 %" in done.err


def test_pictures_come_from_the_folder_named(dig_book: Book, tmp_path: Path):
    """Beside the files that were loaded without a word; with --pictures from there alone."""
    db = dig_book.store.where
    assert "data:image/png" in sewermap("digsheet", "A-1/1", "--db", db).out
    assert "data:image/png" not in sewermap("digsheet", "A-1/1", "--db", db, "--pictures", tmp_path).out


def test_what_cannot_be_is_told_in_one_line(dig_book: Book, tmp_path: Path):
    """An unknown issue, the database as the file to write, and a folder that is not there."""
    db = dig_book.store.where
    before = Path(db).read_bytes()
    unknown = sewermap("digsheet", "A-1/77", "--db", db)
    assert unknown.is_one_line_error
    assert "no issue is called 'A-1/77'" in unknown.err
    assert sewermap("digsheet", "A-1/1", "--db", db, "-o", db).is_one_line_error
    assert sewermap("digsheet", "A-1/1", "--db", db, "-o", tmp_path / "no" / "x.pdf").is_one_line_error
    assert Path(db).read_bytes() == before
