"""``load --draft``: what it finds in strange files, what it leaves open, and that what it writes loads."""

import tomllib
from pathlib import Path

import geopandas as gpd
import pytest

import sewermap
from etl.catalogue import FIELDS
from etl.draft import draft
from etl.draft.headings import likeness_of
from etl.draft.written import comment, quoted
from etl.sources import read_file
from sewermap.book import Book
from sewermap.errors import SourceError
from tests.cli.running import good
from tests.cli.running import sewermap as run
from tests.etl.strange import CRS, LINES, STRANGE


def town(folder: Path) -> Book:
    """A database with three laterals."""
    frame = {"lateral": list(LINES), "address": ["3", "5", "7"], "street": ["Alder Street"] * 3}
    gpd.GeoDataFrame(frame, geometry=list(LINES.values()), crs=CRS).to_file(folder / "laterals.gpkg")
    (folder / "MAP.toml").write_text('[laterals]\nfrom = "laterals.gpkg"\ntie_in = "start"\n')
    book = sewermap.create(folder / "town.gpkg", CRS)
    book.load(folder / "MAP.toml")
    return book


@pytest.mark.parametrize("name", STRANGE)
def test_a_strange_file_is_drafted_and_loads(tmp_path: Path, name: str) -> None:
    """Each section with the columns it should have and no other; loading the draft as it is rejects nothing."""
    strange = STRANGE[name]
    book = town(tmp_path)
    text = draft(strange.write(tmp_path), tmp_path / "SOURCES.toml")
    said = tomllib.loads(text)
    fields = {section: {ours: theirs for ours, theirs in of["fields"].items() if theirs} for section, of in said.items()}
    assert fields == strange.fields, text
    for section, options in strange.options.items():
        assert options.items() <= said[section].items(), text
    text = text.replace('# unit = "ft" ', 'unit = "ft" ')  # the bends do not say it, and the draft asks
    (tmp_path / "SOURCES.toml").write_text(text, encoding="utf-8")
    report = book.load(tmp_path / "SOURCES.toml")
    assert report.rejects.empty, report.rejects.to_string()
    assert report.files.groupby("table")["loaded"].sum().to_dict() == strange.loaded, text


def drafted(tmp_path: Path, text: str, name: str = "log.csv") -> str:
    """The draft of a CSV file."""
    (tmp_path / name).write_text(text)
    return draft(tmp_path / name)


LOG = "Job,Line,Date,{reading},What\nJ1,L1,{day},3,{kind}\n"


def test_what_is_undecided_is_asked_and_never_guessed(tmp_path: Path) -> None:
    """A unit that nothing says and days that could be two stand behind a #, with their reason."""
    text = drafted(tmp_path, LOG.format(reading="Distance", day="05/06/2024", kind="roots"))
    said = tomllib.loads(text)["runs"]
    assert "dates" not in said
    assert "unit" not in said.get("defaults", {})
    assert '# dates = "mdy"' in text
    assert "05/06/2024 could be two days" in text
    assert '# unit = "ft"' in text
    assert "undecided: neither the heading 'Distance' nor the readings say" in text


def test_days_of_two_programs_are_told(tmp_path: Path) -> None:
    """One day that proves the month first and one that proves the day first decide nothing."""
    rows = "Job,Line,Date,Feet,What\nJ1,L1,05/31/2024,3,roots\nJ2,L1,31/05/2024,3,roots\n"
    assert "05/31/2024 has the month first, 31/05/2024 the day; two programs" in drafted(tmp_path, rows)


def test_unknown_words_are_proposed_as_comments(tmp_path: Path) -> None:
    """A word near one of ours with it, another without; neither is taken for granted."""
    text = drafted(tmp_path, LOG.format(reading="Feet", day="2024-05-31", kind="heavy rootz") + "J1,L1,2024-05-31,4,QX7\n")
    assert tomllib.loads(text)["observations"]["values"] == {"kind": {}}
    assert '# "heavy rootz" = "roots"' in text
    assert '# "QX7" = "…"' in text
    proposal = next(line for line in text.splitlines() if "rootz" in line)
    uncommented = text.replace(proposal, proposal.removeprefix("# "))
    assert tomllib.loads(uncommented)["observations"]["values"]["kind"] == {"heavy rootz": "roots"}


def test_columns_nobody_takes_are_named(tmp_path: Path) -> None:
    """What will not be loaded is told."""
    text = drafted(tmp_path, "Job,Line,Date,Feet,What,Weather\nJ1,L1,2024-05-31,3,roots,wet\n")
    assert "# not taken, and not loaded: Weather" in text


def test_a_file_that_is_like_nothing_says_so(tmp_path: Path) -> None:
    """No section is written, and what the likeliest one lacks is told."""
    text = drafted(tmp_path, "Fruit,Price\npear,3\n")
    assert tomllib.loads(text) == {}
    assert "no section is like it; its columns are Fruit, Price" in text
    text = drafted(tmp_path, "Job,Line\nJ1,L1\n")
    assert tomllib.loads(text) == {}
    assert "for runs no column is like ran_on" in text


def test_a_flat_log_whose_rows_contradict_each_other_is_not_taken_for_runs(tmp_path: Path) -> None:
    """Two days under one name of a run: only what was seen is drafted, with the reason."""
    text = drafted(tmp_path, "Job,Line,Date,Feet,What\nJ1,L1,2024-05-31,3,roots\nJ1,L1,2024-06-01,4,roots\n")
    assert set(tomllib.loads(text)) == {"observations"}
    assert "Date: more than one within one Job" in text


def test_a_layer_that_could_be_several_is_left_open(tmp_path: Path) -> None:
    """Lines with neither a telling name nor telling columns."""
    gpd.GeoDataFrame({"Q": ["a"]}, geometry=[LINES["L1"]], crs=CRS).to_file(tmp_path / "export_7.gpkg")
    text = draft(tmp_path / "export_7.gpkg")
    assert tomllib.loads(text) == {}
    assert "undecided: a layer of lines may be laterals or mains or streets" in text


def test_a_heading_with_every_sign_makes_valid_toml(tmp_path: Path) -> None:
    """Quotation marks, a backslash and a DEL in headings and words come back as they are."""
    (tmp_path / "log.csv").write_text(
        '"Job ""#""",Line\\no,Date,Feet,What\x7f\nJ1,L1,2024-05-31,3,"ro""ots\\"\n', encoding="utf-8"
    )
    said = tomllib.loads(draft(tmp_path / "log.csv"))
    columns = read_file(tmp_path / "log.csv").cells.columns
    assert set(said["observations"]["fields"].values()) <= set(columns)
    assert said["runs"]["fields"]["run"] == 'Job "#"'
    assert tomllib.loads(f"a = {quoted(chr(127) + chr(92))} {comment(chr(0) + chr(127))}") == {"a": "\x7f\\"}


def test_a_field_said_to_have_no_column_takes_none(tmp_path: Path) -> None:
    """``remark = false`` keeps a column named remark out of a section; anything else but a name is refused."""
    book = town(tmp_path)
    (tmp_path / "runs.csv").write_text("run,lateral,ran_on,unit,remark\nR1,L1,2024-05-31,ft,wet\n")
    (tmp_path / "SOURCES.toml").write_text('[runs]\nfrom = "runs.csv"\n[runs.fields]\nremark = false\n')
    assert book.load(tmp_path / "SOURCES.toml").rejects.empty
    assert book.layer("runs")["remark"].isna().all()
    (tmp_path / "SOURCES.toml").write_text('[runs]\nfrom = "runs.csv"\n[runs.fields]\nremark = true\n')
    with pytest.raises(SourceError, match="or be false"):
        book.load(tmp_path / "SOURCES.toml")


@pytest.mark.parametrize("section", FIELDS)
def test_our_own_names_are_known_best(section: str) -> None:
    """A heading that is a field's name is taken for it."""
    for field in FIELDS[section]:
        assert likeness_of(field.name, section, field.name)[0] == 1.0


def test_synonyms_are_of_fields_that_are_there() -> None:
    """No word is kept for a field or section that does not exist, and none stands for two fields of a section."""
    table = tomllib.loads((Path(sewermap.__file__).parents[1] / "etl" / "draft" / "synonyms.toml").read_text(encoding="utf-8"))
    shared, sections = table.pop("shared"), table.pop("sections")
    assert set(sections) | set(table) <= set(FIELDS)
    assert set(shared) <= {field.name for fields in FIELDS.values() for field in fields}
    for section, words in table.items():
        assert set(words) <= {field.name for field in FIELDS[section]}


def test_the_command_writes_once_and_prints_without_a_name(tmp_path: Path) -> None:
    """-o writes the file and never over one; without it the draft is the answer; a missing file is one sentence."""
    (tmp_path / "log.csv").write_text(LOG.format(reading="Feet", day="2024-05-31", kind="roots"))
    out = tmp_path / "SOURCES.toml"
    printed = good(run("load", "--draft", tmp_path / "log.csv")).out
    assert set(tomllib.loads(printed)) == {"runs", "observations"}
    good(run("load", "--draft", tmp_path / "log.csv", "-o", out))
    assert tomllib.loads(out.read_text(encoding="utf-8"))["runs"]["from"] == "log.csv"
    before = out.read_bytes()
    again = run("load", "--draft", tmp_path / "log.csv", "-o", out)
    assert again.is_one_line_error
    assert "there already" in again.err
    assert out.read_bytes() == before
    assert "there is no file" in run("load", "--draft", tmp_path / "none.csv").err
    assert run("load", "--draft", "--check", tmp_path / "log.csv").status == 2
    assert run("load", "--draft", "--lateral", "L1", tmp_path / "log.csv").status == 2
    assert run("load", "--every", "1", out).status == 2
