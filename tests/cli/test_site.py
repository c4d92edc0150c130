import csv
import re

import pytest

from tests.cli.running import good, sewermap
from tests.cli.test_terminal import on_a_terminal


@pytest.mark.parametrize(("language", "said"), [("en", "Checks due"), ("fr", "Contrôles à faire")])
def test_the_pages_speak_the_language_asked_for(town, tmp_path, language, said):
    """--language decides what all pages say, and the title is the user's."""
    done = good(sewermap("site", tmp_path / "site", "--language", language, "--title", "Fernhollow", "--db", town.db))
    assert f"open {tmp_path / 'site' / 'index.html'} in a browser" in done.err
    assert done.out == ""
    page = (tmp_path / "site" / "due.html").read_text(encoding="utf-8")
    assert f'<html lang="{language}">' in page
    assert f"<title>{said} – Fernhollow</title>" in page


def test_a_public_site_is_one_page(town, tmp_path):
    """--public makes index.html alone, also where a whole site was before; the builder's least is in its footer."""
    good(sewermap("site", tmp_path, "--db", town.db))
    good(sewermap("site", tmp_path, "--public", "--public-least", 7, "--db", town.db))
    assert [path.name for path in tmp_path.glob("*.html")] == ["index.html"]
    assert "Streets with fewer than 7 laterals" in (tmp_path / "index.html").read_text(encoding="utf-8")


def test_a_strangers_page_is_not_overwritten(town, tmp_path):
    """Where somebody's own page stands, the command fails in one line and leaves it."""
    (tmp_path / "index.html").write_text("mine")
    done = sewermap("site", tmp_path, "--db", town.db)
    assert done.is_one_line_error
    assert (tmp_path / "index.html").read_text() == "mine"


def test_the_day_is_the_one_asked_for(town, tmp_path):
    """--as-of is what the pages say they know of, and nothing that was first seen later is on them."""
    good(sewermap("site", tmp_path / "site", "--as-of", "2025-03-01", "--db", town.db))
    assert "As known on 1 March 2025." in (tmp_path / "site" / "changes.html").read_text(encoding="utf-8")
    good(sewermap("export", tmp_path / "issues.csv", "--table", "issues", "--db", town.db))
    with (tmp_path / "issues.csv").open(encoding="utf-8", newline="") as file:
        first_seen = [row["first_seen"] for row in csv.DictReader(file)]
    known = sum(day <= "2025-03-01" for day in first_seen)
    assert 0 < known < len(first_seen)
    assert f'"issues":{known},' in (tmp_path / "site" / "data" / "town.js").read_text(encoding="utf-8")


def test_a_terminal_shows_that_it_works(town, tmp_path):
    """On a terminal a bar says what is made; at its end only the one line remains."""
    status, shown = on_a_terminal("site", tmp_path / "site", "--db", town.db)
    assert status == 0
    plain = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", shown)
    assert "the database …" in plain
    assert "files in" in plain.splitlines()[-1] or "browser" in plain.splitlines()[-1]
