"""SOURCES.toml to a plan: every mistake is a sentence that names file, section and key."""

import pytest

from etl.catalogue import FIELDS
from etl.plan import read_plan
from sewermap.errors import SourceError
from sewermap.store.tables import RECORDED

RUNS = '[runs]\nfrom = "runs.csv"\n'
MISTAKES = {
    '[lateral]\nfrom = "a"\n': "SOURCES.toml: [lateral] is no section; did you mean laterals?",
    "[runs]\n": "SOURCES.toml, [runs]: from is missing",
    '[runs]\nfrom = "logs/*.csv"\n': "SOURCES.toml, [runs]: no file matches from = 'logs/*.csv'",
    '[runs]\nfrom = "run.csv"\n': "did you mean runs.csv?",
    '[runs]\nfrom = "."\n': "is a folder",
    '[[runs]]\nfrom = "runs.csv"\n': "must be one [runs]",
    RUNS + 'form = "x"\n': "SOURCES.toml, [runs]: form is no key of a section; did you mean from?",
    RUNS + 'reason = "check"\n': "fields stand in [runs.fields] or [runs.defaults]",
    RUNS + "[runs.fields]\nlatteral = 'x'\n": "[runs.fields]: latteral is no field of runs; did you mean lateral?",
    RUNS + "[runs.defaults]\nunits = 'ft'\n": "[runs.defaults]: units is no field of runs; did you mean unit?",
    RUNS + "[runs.values.knd]\na = 'b'\n": "[runs.values]: knd is no field of runs",
    RUNS + "[runs.values.direction]\na = 'to mian'\n": "did you mean to main?",
    RUNS + "[runs.fields]\nrun = 3\n": "must name a column",
    RUNS + 'crs = "EPSG:1"\n': "SOURCES.toml, [runs]: crs = 'EPSG:1' is no coordinate reference system",
    RUNS + 'unit = "yard"\n': "SOURCES.toml, [runs]: unit = 'yard' must be ft or m",
    RUNS + 'dates = "dym"\n': "dates = 'dym' must be one of mdy, dmy, ymd",
    RUNS + 'tie_in = "end"\n': "tie_in is a key of [laterals] alone",
    RUNS + 'table = "a.b"\n': 'table goes with from = "postgresql://',
    RUNS + 'separator = ";;"\n': "must be one character",
    RUNS + "layer = 3\n": "layer must be a text",
    '[runs]\nfrom = "postgresql://h/d"\n': "table is missing",
    '[laterals]\nfrom = "runs.csv"\ntie_in = "middle"\n': "tie_in = 'middle' must be one of start, end, main",
    '[laterals]\nfrom = "runs.csv"\n[laterals.fields]\ngeometry = "g"\n': "the geometry is taken from the layer by itself",
    '[observations]\nfrom = "runs.csv"\n[observations.values.kind]\nX = "rots"\n': "'rots' is no known kind",
    '[crosswalk]\nBBA = "rots"\n': "SOURCES.toml, [crosswalk]: 'BBA': 'rots' is no known kind",
    '[rules]\ncountre = "a.toml"\n': "SOURCES.toml, [rules]: countre is no rule; did you mean counter?",
    '[rules]\ncounter = "a.toml"\n': "SOURCES.toml, [rules]: counter = 'a.toml' cannot be read: No such file",
    'crs = "EPSG:1"\n': "SOURCES.toml: crs = 'EPSG:1' is no coordinate reference system",
    'crs = "EPSG:4326"\n': "is not projected",
    "runs = 3\n": "runs must be a section",
    "[runs\n": "SOURCES.toml is no valid TOML",
}


@pytest.mark.parametrize("text", MISTAKES)
def test_a_mistake_is_told_in_a_sentence(town, text):
    """The sentence names file, section and key, and the nearest right word."""
    town.csv("runs.csv", "run")
    with pytest.raises(SourceError) as told:
        read_plan(town.toml(text))
    assert MISTAKES[text] in str(told.value)
    assert "\n" not in str(told.value).replace("TOML: ", "")


def test_no_file():
    """A SOURCES.toml that is not there is said to be missing."""
    with pytest.raises(SourceError, match="there is no file nowhere"):
        read_plan("nowhere/SOURCES.toml")


def test_every_section_of_the_schema_is_read():
    """The catalogue has the sections of the store's schema, and each field has its column there."""
    assert set(FIELDS) == set(RECORDED)
    for section, fields in FIELDS.items():
        columns = set(RECORDED[section].table.columns.keys())
        assert {field.column for field in fields if field.name != "address"} <= columns


def test_files_and_order(town):
    """Patterns and lists name files once each, sorted; a name with brackets is a name; sections are in the order of loading."""
    for name in ("logs/b.csv", "logs/a.csv", "logs/c[1].csv"):
        town.csv(name, "run")
    town.csv("works.csv", "work")
    plan = read_plan(
        town.toml('[works]\nfrom = "works.csv"\n[runs]\nfrom = ["logs/*.csv", "logs/a.csv", "logs/c[1].csv"]\n[rules]\n')
    )
    assert [section.name for section in plan.sections] == ["runs", "works"]
    assert [path.name for path in plan.sections[0].files] == ["a.csv", "b.csv", "c[1].csv"]
    assert plan.folder == town.folder.resolve()


def test_rules_crosswalk_and_defaults(town):
    """Rule files come as text, a crosswalk as words of observations (their own words go first), defaults as text."""
    town.csv("place.toml", "sure = 0.9")
    town.csv("obs.csv", "run")
    plan = read_plan(
        town.toml(
            'crs = "EPSG:26910"\n[observations]\nfrom = "obs.csv"\n'
            '[observations.values.kind]\n"Root  Mass" = "roots"\nX = "crack"\n'
            "[observations.defaults]\ngrade = 2\nremark = 2024-05-31\n"
            '[crosswalk]\nBBA = "roots"\nX = "hole"\n[rules]\nboundary = "place.toml"\n'
        )
    )
    section = plan.sections[0]
    assert section.values["kind"] == {"bba": "roots", "x": "crack", "root mass": "roots"}
    assert section.defaults == {"grade": "2", "remark": "2024-05-31"}
    assert plan.rules == {"boundary": "sure = 0.9\n"}
    assert plan.crs is not None
