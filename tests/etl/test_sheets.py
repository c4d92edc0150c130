"""Sheets as people's programs save them: encodings, separators, quotation marks, blank lines."""

import csv
import io
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from etl.sources.decode import decoded
from etl.sources.records import records_of, separator_of
from etl.sources.sheets import read_sheet
from sewermap.errors import SourceError


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252", "latin-1"])
def test_encodings(town, encoding):
    """The same sheet reads the same in each encoding that programs save it in, with its mark or (UTF-16) without."""
    rows = read_sheet(town.csv("a.csv", "run,remark", "R1,Größe über 5°", "R2,ok", encoding=encoding))
    assert rows.cells.to_dict("list") == {"run": ["R1", "R2"], "remark": ["Größe über 5°", "ok"]}
    assert rows.row.tolist() == [2, 3]


def test_a_spoilt_row_of_utf8_does_not_change_the_encoding_of_all(town):
    """One row with a byte that is no UTF-8 is rejected; the umlauts of the others stay what they were."""
    path = town.csv("a.csv", "run,remark", "R1,Größe", "R2,x", "R3,Übergang")
    path.write_bytes(path.read_bytes().replace(b"R2,x", b"R2,\xff"))
    rows = read_sheet(path)
    assert rows.cells["remark"].tolist() == ["Größe", "Übergang"]
    assert rows.broken["row"].tolist() == [3]


def test_a_stated_encoding_is_kept_to(town):
    """What is not in the encoding said, or in one that nobody knows, is an error with the file's name."""
    path = town.csv("a.csv", "run", "Größe", encoding="cp1252")
    assert read_sheet(path, encoding="cp1252").cells["run"].tolist() == ["Größe"]
    with pytest.raises(SourceError, match=r"a\.csv is not in the encoding utf-8"):
        read_sheet(path, encoding="utf-8")
    with pytest.raises(SourceError, match="encoding = 'klingon' is unknown"):
        read_sheet(path, encoding="klingon")


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_separators(town, separator):
    """Comma, semicolon, tab and bar are told from the sheet itself."""
    lines = [separator.join(cells) for cells in (("run", "reading", "kind"), ("R1", "4.5", "roots"))]
    assert read_sheet(town.csv("a.csv", *lines)).cells.iloc[0].tolist() == ["R1", "4.5", "roots"]


def test_decimal_commas_in_a_sheet_of_semicolons(town):
    """A comma in every row does not make the comma the separator; `sep=;` as some programs write it is no row."""
    lines = ["run;reading;to_reading", "R1;4,5;5,5", "R2;6,5;7,5"]
    for first in ([], ["sep=;"]):
        rows = read_sheet(town.csv("a.csv", *first, *lines))
        assert rows.cells["reading"].tolist() == ["4,5", "6,5"]
        assert rows.row.tolist() == [2, 3]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_rows_are_numbered_as_a_spreadsheet_shows_them(town, end):
    """Blank lines count, and a record with line breaks within quotation marks is one row, whatever ends the lines."""
    lines = ["run,remark", "R1,a", "", f'R2,"two{end}lines"', " , ", "R3,c", "", ""]
    rows = read_sheet(town.csv("a.csv", *lines, end=end))
    assert rows.row.tolist() == [2, 4, 6]
    assert rows.cells["run"].tolist() == ["R1", "R2", "R3"]
    assert rows.cells["remark"].iloc[1] == f"two{end}lines"
    assert rows.read == 3


def test_both_ways_of_reading_number_the_same(town):
    """A sheet without quotation marks (read the fast way) has the numbers that it has with them."""
    plain = ["run,remark", "R1,a", "", "R2,b", ",", "R3,"]
    fast = read_sheet(town.csv("a.csv", *plain))
    careful = read_sheet(town.csv("b.csv", 'run,"remark"', *plain[1:]))
    assert fast.row.tolist() == careful.row.tolist() == [2, 4, 6]
    assert fast.cells.equals(careful.cells)


@pytest.mark.parametrize(
    ("bad", "after"),
    [
        ('R2,"open,3', ["R3", "R4"]),
        ('R2,"closed"too early,3', ["R3", "R4"]),
        ("R2,3", ["R3", "R4"]),
        ("R2,3,4,5", ["R3", "R4"]),
        ("R2,a\0b,3", ["R3", "R4"]),
        ('R2,"open,3\nR2b,",4', ["R3", "R4"]),
        ('R2,"open,3\nR2b,"open too,4', ["R3", "R4"]),
    ],
)
def test_a_bad_line_spoils_itself_alone(town, bad, after):
    """An open quotation mark, a wrong count of cells or NUL: that line is broken, with its number; no row shifts."""
    rows = read_sheet(town.csv("a.csv", "run,remark,percent", "R1,a,1", bad, "R3,c,2", 'R4,"d, e",3'))
    count = bad.count("\n") + 1
    assert rows.cells["run"].tolist() == ["R1", *after]
    assert rows.cells["percent"].tolist() == ["1", "2", "3"]
    assert rows.broken["row"].tolist() == list(range(3, 3 + count))
    assert rows.row.tolist() == [2, 3 + count, 4 + count]
    assert not rows.broken["value"].str.contains("\0").any()


def test_feet_and_inches_need_no_quotation(town):
    """`44' 6"` in the middle of a line, and quoted by the rules of RFC 4180, is the same reading."""
    rows = read_sheet(town.csv("a.csv", "run,reading,kind", "R1,44' 6\",roots", 'R2,"44\' 6""",roots'))
    assert rows.cells["reading"].tolist() == ["44' 6\"", "44' 6\""]


def test_a_column_that_stands_twice_is_an_error(town):
    """Which of two columns of one name is meant, nobody can say; a sheet without a header is no sheet."""
    with pytest.raises(SourceError, match=r"a\.csv has two columns named run"):
        read_sheet(town.csv("a.csv", "run,kind,run", "R1,roots,R2"))
    with pytest.raises(SourceError, match=r"b\.csv is empty"):
        read_sheet(town.csv("b.csv", "", ""))
    with pytest.raises(SourceError, match=r"c\.csv cannot be read"):
        read_sheet(town.folder / "c.csv")


cell = st.text(st.characters(codec="utf-8", exclude_characters="\0\ufeff\r", exclude_categories=["Cs"]), max_size=8)


@given(
    st.lists(st.lists(cell, min_size=3, max_size=3), min_size=1, max_size=6),
    st.sampled_from([",", ";", "\t", "|"]),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
    st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
    st.sampled_from(["\n", "\r\n"]),
)
def test_what_a_csv_writer_wrote_is_read(cells, separator, encoding, quoting, end):
    """Whatever texts Python's own writer put into a sheet (RFC 4180), in whatever dialect, come out again, at their rows."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=separator, quoting=quoting, lineterminator=end)
    writer.writerows([["a", "b", "c"], *cells])
    again = decoded(text.getvalue().encode(encoding), None if encoding == "utf-8" else encoding, "a.csv")
    records = records_of(again, separator)
    some = [(at, row) for at, row in enumerate(cells, start=2) if any(one.strip() for one in row)]
    swallowed = {row for row, _, reason in records.broken if "quotation" in reason}
    if not swallowed:  # several line breaks and separators in one cell look like two rows: refused, never guessed
        assert records.row.tolist() == [at for at, _ in some]
        assert [list(row) for row in zip(*records.columns, strict=True)] == [row for _, row in some]
    else:
        assert any("\n" in one or "\r" in one for row in cells for one in row)


@given(st.lists(st.sampled_from([",", ";", "R1", '"', "\n", "\r", "x", " ", "\0", "é"]), max_size=40))
def test_no_text_breaks_the_reader(pieces):
    """Any text gives records and broken rows whose numbers are all different."""
    text = "".join(pieces)
    records = records_of(text, separator_of(text))
    if records is not None:
        numbers = [*records.row.tolist(), *(row for row, _, _ in records.broken)]
        assert len(numbers) == len(set(numbers))
        assert all(len(column) == len(records.row) for column in records.columns)


@pytest.mark.parametrize("remark", ["a remark", '"a remark, quoted"'])
def test_150_000_rows_are_read_in_no_time(town, remark):
    """Reading does not grow worse than with the rows: 150,000 of them in some seconds of the processor (about half of one)."""
    lines = [f"R{at},{at % 400 / 10},roots,{at % 12 + 1},{remark}" for at in range(150_000)]
    path = town.csv("a.csv", "run,reading,kind,clock_from,remark", *lines)
    start = time.process_time()
    assert len(read_sheet(path).cells) == 150_000
    assert time.process_time() - start < 5
