"""The exchange form of EN 13508-2, read and written. Well-formedness is checked by the standard library's own XML readers."""

import xml.dom.minidom
import xml.etree.ElementTree as ET

import pandas as pd
import pytest

import sewermap
from etl.sources import read_file
from sewermap.answers.exchange import OURS, exchange_text
from sewermap.book import Book
from sewermap.errors import SourceError
from tests.cli.running import sewermap as run_command
from tests.etl.conftest import UTM, Town, accounted

HEAD = '[laterals]\nfrom = "laterals.gpkg"\ntie_in = "start"\n'
TOWN = HEAD + '[runs]\nfrom = "runs.csv"\n[observations]\nfrom = "obs.csv"\n'
SURVEY = HEAD + '[runs]\nfrom = "survey.xml"\n[observations]\nfrom = "survey.xml"\n'

OTHERS = """<?xml version="1.0" encoding="{encoding}"?>
<DATA><ZA><A2>en</A2><A6>2010</A6></ZA>
<ZB><AAA>L1</AAA><ABF>2024-05-31</ABF><ABH>Zoë</ABH><ABI>J1</ABI><ABC>x</ABC>
<ZC><A>BBA</A><D>20</D><I>3.50</I><G>3</G><F>at a joint</F></ZC>
<ZC><A>BAB</A><I>4.25</I></ZC></ZB>
<ZB><AAA>L2</AAA><ABF>2024-06-01</ABF><ZC><A>BBF</A><I>1.0</I></ZC></ZB>
</DATA>
"""
"""A file as another program may write it: structure and letters as public descriptions of the form say (docs/exchange.md)."""


def _write(town: Town, text: str, encoding: str = "UTF-8") -> None:
    (town.folder / "survey.xml").write_bytes(text.format(encoding=encoding).encode(encoding))


@pytest.mark.parametrize("encoding", ["UTF-8", "ISO-8859-1", "UTF-16", "windows-1252"])
def test_a_file_of_another_program_is_read_in_its_encoding(town, encoding):
    """Runs and observations come out of ZB and ZC in metres; a code that two kinds bear is told; letters not read are told."""
    town.laterals()
    _write(town, OTHERS, encoding)
    gathered = town.gather(SURVEY)
    runs, observations = gathered.tables["runs"], gathered.tables["observations"]
    assert runs[["run", "lateral", "unit"]].to_numpy().tolist() == [["J1", "L1", "m"], ["L2 2024-06-01", "L2", "m"]]
    assert runs["crew"][0] == "Zoë"
    assert observations["kind"].tolist() == ["roots", "infiltration"]
    assert observations["reading_m"].tolist() == [3.5, 1.0]
    assert observations["clock_from"][0] == 3
    assert gathered.rejects["row"].tolist() == [2]
    assert gathered.rejects["reason"].str.startswith("ZC 2, line 5: ").all()
    assert sorted(gathered.warnings["field"]) == ["ABC", "D", "kind"]
    assert accounted(gathered)


def test_the_crosswalk_says_what_two_kinds_bear_and_what_a_letter_holds(town):
    """With a crosswalk for it the code is read, and its size from the letter that the rule names."""
    town.laterals()
    _write(town, OTHERS)
    town.csv("codes.csv", "code,kind,size rule", "BAB,crack,", "BBA,roots,percent = D")
    gathered = town.gather(SURVEY + '[crosswalk]\nfrom = "codes.csv"\n')
    assert gathered.rejects.empty
    assert gathered.tables["observations"]["kind"].tolist() == ["roots", "crack", "infiltration"]
    assert gathered.tables["observations"]["percent"][0] == 20


LAUGHS = '<!DOCTYPE DATA [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;">]><DATA><ZB><AAA>&b;</AAA></ZB></DATA>'
OUTSIDE = '<!DOCTYPE DATA [<!ENTITY a SYSTEM "file:///etc/hostname">]><DATA><ZB><AAA>&a;</AAA></ZB></DATA>'


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (LAUGHS, "line 1: a document type"),
        (OUTSIDE, "line 1: a document type"),
        ("<DATA><ZB>", "no well-formed XML"),
        ("<OTHER/>", "the root is OTHER"),
        ("<DATA><ZC/></DATA>", "ZC stands where none can"),
        ("<DATA>\n<ZA><ZC/></ZA></DATA>", "line 2: ZC stands outside a ZB"),
        ("<DATA><ZB><AAA><x>L1</x></AAA></ZB></DATA>", "holds text alone"),
        ("<DATA><ZQ/></DATA>", "ZQ is unknown"),
        ('<?xml version="1.0" encoding="no-such"?><DATA/>', "no well-formed XML"),
    ],
)
def test_what_is_no_exchange_form_is_refused(tmp_path, text, sentence):
    """Entities (expanding ones, files of this machine), broken XML and other roots are each one sentence that names the file."""
    path = tmp_path / "survey.xml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SourceError, match=sentence):
        read_file(path, layer="runs")


def test_other_sections_and_doubled_elements(tmp_path):
    """The form holds no works; an element that stands twice breaks its row, and no other."""
    path = tmp_path / "survey.xml"
    path.write_text("<DATA><ZB><AAA>L1</AAA><AAA>L2</AAA></ZB><ZB><AAA>L3</AAA></ZB></DATA>", encoding="utf-8")
    with pytest.raises(SourceError, match="'works' is neither"):
        read_file(path, layer="works")
    rows = read_file(path, layer="runs")
    assert rows.row.tolist() == [2]
    assert rows.broken["reason"].tolist() == ["AAA stands twice in one ZB"]


def _own_town(town: Town) -> None:
    town.laterals()
    town.csv(
        "runs.csv", "run,lateral,ran_on,unit,launch,direction,end_reading,lead_in,reason,crew,remark",
        'R1,L1,2024-05-31,ft,building,to main,60.5,2.5,check,Crew <A> & "B",said ]]> twice', "R2,L2,2024-06-01,m,tie-in,,,,,,",
    )  # fmt: skip
    town.csv(
        "obs.csv", "run,reading,to_reading,kind,percent,grade,clock_from,clock_to,remark,depth",
        "R1,31.5,35.25,Root Mass,30,3,3,5,ünder <x>,1.25",
        "R1,12.1,,open crack,,,,,,", "R1,20,,sag,,,,,,", "R2,7.125,,crack,,,12,,,",
    )  # fmt: skip


def _rows(book: Book, table: str) -> pd.DataFrame:
    ours = {"id", "content", "loaded_in", "source_row", "withdrawn_in", "replaced_by", "kind_as_written", "source_file"}
    rows = book.layer(table)
    rows = rows.loc[rows["kind"] != "sag"] if "kind" in rows else rows
    return rows[[name for name in rows.columns if name not in ours]].reset_index(drop=True)


def test_exported_and_loaded_again_it_is_the_same(town, engine_where, tmp_path):
    """Export and load into a new database with the same laterals: the same runs and observations, but kinds without a code."""
    _own_town(town)
    first = sewermap.create(engine_where, UTM)
    first.load(town.toml(TOWN))
    left = first.export_exchange(town.folder / "survey.xml")
    assert left == {"sag": 1}
    second = sewermap.create(tmp_path / "second.gpkg", UTM)
    report = second.load(town.toml(SURVEY, "AGAIN.toml"))
    assert report.rejects.empty
    for table in ("runs", "observations"):
        pd.testing.assert_frame_equal(_rows(first, table), _rows(second, table), check_dtype=False)


def test_what_is_written_is_well_formed_and_in_metres(town, tmp_path):
    """Readers of the standard library take it; I is in metres (31.5 ft are 9.601 m: 0.3048 m a foot), codes are main codes."""
    _own_town(town)
    book = sewermap.create(tmp_path / "town.gpkg", UTM)
    book.load(town.toml(TOWN))
    out = tmp_path / "out.xml"
    done = run_command("export", out, "--db", tmp_path / "town.gpkg")
    assert done.status == 0, done.err
    assert "1 observations are not in out.xml (no code, or no run): sag 1" in done.err
    root = ET.fromstring(out.read_bytes())  # noqa: S314 (our own file)
    assert [child.tag for child in root] == ["ZA", "ZB", "ZB"]
    assert root.findtext("ZB/ABI") == "R1"
    assert root.findtext("ZB/ABH") == 'Crew <A> & "B"'
    found = {(one.findtext("A"), one.findtext("I")) for one in root.iter("ZC")}
    assert found == {("BBA", "9.601"), ("BAB", "3.688"), ("BAB", "7.125")}
    assert root.findtext(f"ZB/{{{OURS}}}unit") == "ft"
    assert xml.dom.minidom.parse(str(out)).encoding == "UTF-8"  # noqa: S318 (our own file)


def test_a_reading_changed_by_another_program_is_told(town, tmp_path):
    """Where I and the reading as typed no longer agree nobody can know which holds: the row is rejected; a code changed holds."""
    _own_town(town)
    book = sewermap.create(tmp_path / "town.gpkg", UTM)
    book.load(town.toml(TOWN))
    text = exchange_text(book.layer("runs"), book.layer("observations"))[0]
    text = text.replace("<I>9.601</I>", "<I>9.9</I>").replace("<A>BAB</A>", "<A>BBF</A>")
    (town.folder / "survey.xml").write_text(text, encoding="utf-8")
    gathered = town.gather(SURVEY)
    assert gathered.rejects["reason"].tolist()[0].endswith("I says 9.9 m and the reading as typed 31.5 ft: correct one")
    assert set(gathered.tables["observations"]["kind"]) == {"infiltration"}


def test_signs_that_xml_cannot_hold_and_tables_are_refused(town, tmp_path):
    """A control character is named by its code point; a single table is no exchange form."""
    _own_town(town)
    book = sewermap.create(tmp_path / "town.gpkg", UTM)
    book.load(town.toml(TOWN))
    observations = book.layer("observations").assign(remark="bell \a")
    with pytest.raises(SourceError, match=r"U\+0007"):
        exchange_text(book.layer("runs"), observations)
    with pytest.raises(SourceError, match="leave --table out"):
        book.export(tmp_path / "out.xml", "runs")
