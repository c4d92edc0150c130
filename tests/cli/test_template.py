"""``template``: the workbook and its SOURCES.toml, from the command to the map."""

import openpyxl

from tests.cli.running import SOME_REJECTED, UTM, good, sewermap


def test_a_workbook_goes_from_the_command_to_the_database(tmp_path):
    """The command says what to do next; what is filled in is loaded, and a bad cell is told by sheet and cell."""
    db = tmp_path / "town.gpkg"
    good(sewermap("create", "--crs", UTM, "--db", db))
    done = good(sewermap("template", tmp_path / "log" / "May.xlsx", "--db", db))
    assert done.out == ""
    assert f"sewermap load {tmp_path / 'log' / 'SOURCES.toml'} --db {db}" in done.err
    empty = good(sewermap("load", tmp_path / "log" / "SOURCES.toml", "--db", db, "--format", "json")).json
    assert {file["read"] for file in empty["files"]} == {0}
    assert empty["rejects"] == empty["warnings"] == []

    book = openpyxl.load_workbook(tmp_path / "log" / "May.xlsx")
    book["runs"].append(["R-1", "no such lateral", None, "2024-05-31", "yd"])
    book.save(tmp_path / "log" / "May.xlsx")
    told = sewermap("load", tmp_path / "log" / "SOURCES.toml", "--db", db)
    assert told.status == SOME_REJECTED
    assert "May.xlsx, row 2: unit 'yd': sheet runs, cell E2: 'yd' is no unit of a counter; write ft or m" in told.out


def test_it_overwrites_nothing(tmp_path):
    """A workbook that is there stays as it is, in one line."""
    good(sewermap("template", tmp_path / "May.xlsx"))
    again = sewermap("template", tmp_path / "May.xlsx")
    assert again.is_one_line_error
    assert "somebody may have filled it" in again.err
