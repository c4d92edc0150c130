"""A place's own words for kinds, and its own table of grades: named by [rules], held by the database."""

import pytest

import sewermap
from etl.known import Known
from etl.plan import read_plan
from sewermap.errors import SourceError

PLAN = """
crs = "EPSG:26910"
[laterals]
from = "laterals.gpkg"
tie_in = "start"
[runs]
from = "runs.csv"
[runs.defaults]
unit = "ft"
[observations]
from = "seen.csv"
"""
RULES = '[rules]\nkinds = "words.toml"\n'
WORDS = ("[words]", '"Wurzeln" = "roots"', '"Riß" = "crack"')


@pytest.fixture
def dug(town):
    """Runs noted in the words of a crew that writes German."""
    town.laterals()
    town.csv("runs.csv", "run,lateral,ran_on", "R1,L1,2024-05-01", "R2,L2,2024-05-02")
    town.csv("seen.csv", "run,reading,kind", "R1,10,WURZELN", "R1,20,riss", "R1,30,belly", "R1,40,Wurzln")
    town.csv("words.toml", *WORDS)
    return town


def test_own_words_are_read_beside_ours(dug):
    """Own words mean their kind, ours still theirs; a strange word is rejected with the nearest, own ones among them."""
    gathered = dug.gather(PLAN + RULES)
    assert gathered.tables["observations"]["kind"].tolist() == ["roots", "crack", "sag"]
    assert gathered.tables["observations"]["kind_as_written"].tolist() == ["WURZELN", "riss", "belly"]
    (reason,) = gathered.rejects["reason"]
    assert "'Wurzln' is no known kind; the nearest known are roots (as 'wurzeln')" in reason
    assert gathered.rules == {"kinds": "\n".join(WORDS) + "\n"}


def test_without_the_file_the_words_are_unknown(dug):
    """Nobody's words leak into another load."""
    dug.gather(PLAN + RULES)
    gathered = dug.gather(PLAN)
    assert gathered.tables["observations"]["kind"].tolist() == ["sag"]
    assert gathered.rejects["row"].tolist() == [2, 3, 5]


def test_words_of_an_earlier_load_hold(dug):
    """What the database recorded of an earlier load is known, until a file with other words replaces it."""
    before = Known(rules={"kinds": "\n".join(WORDS)})
    assert len(dug.gather(PLAN, before).tables["observations"]) == 3
    dug.csv("words.toml", "[words]", '"Wurzln" = "roots"')
    assert dug.gather(PLAN + RULES, before).tables["observations"]["reading"].tolist() == ["30", "40"]


def test_warranties_and_crosswalks_take_own_words(dug):
    """A list of kinds and what a crosswalk leads to may be told in own words; what a section says of a word goes first."""
    dug.csv("seen.csv", "run,reading,kind", "R1,10,K7", "R1,20,Riß")
    dug.csv("terms.csv", "warranty,lateral,begins_on,kinds", "W1,L1,2024-05-01,Wurzeln; Riß")
    extra = '[warranties]\nfrom = "terms.csv"\n[crosswalk]\nK7 = "Wurzeln"\n[observations.values.kind]\n"Riß" = "hole"\n'
    gathered = dug.gather(PLAN + extra + RULES)
    assert gathered.rejects.empty
    assert gathered.tables["observations"]["kind"].tolist() == ["roots", "hole"]
    assert gathered.tables["warranties"]["kinds"].tolist() == ["roots, crack"]


@pytest.mark.parametrize(
    ("rule", "text", "told"),
    [
        ("kinds", '[words]\n"belly" = "roots"', "kinds = 'own.toml': the word 'belly' cannot mean roots: it already means sag"),
        ("kinds", '[words]\n"Wurzeln" = "rots"', "kinds = 'own.toml': the word 'Wurzeln' cannot mean 'rots'"),
        ("grades", "[kinds.rots]\ngrade = 3", "grades = 'own.toml': the table of grades: 'rots' is no known kind"),
        ("grades", "[any_other]\ngrade = 7", "grades = 'own.toml': the table of grades, any_other: grade must be"),
    ],
)
def test_a_wrong_file_is_told_where_it_is_named(dug, rule, text, told):
    """The sentence names SOURCES.toml, its [rules], the file and what is wrong in it."""
    dug.csv("own.toml", text)
    with pytest.raises(SourceError) as error:
        read_plan(dug.toml(PLAN + f'[rules]\n{rule} = "own.toml"\n'))
    assert f"SOURCES.toml, [rules]: {told}" in str(error.value)


def test_the_database_keeps_the_words(dug, tmp_path):
    """A second load that names no words reads what the first could read; the rows are known and nothing changes."""
    book = sewermap.create(tmp_path / "town.gpkg", "EPSG:26910")
    first = book.load(dug.toml(PLAN + RULES)).files.set_index("table").loc["observations"]
    assert (first["loaded"], first["rejected"]) == (3, 1)
    again = book.load(dug.toml(PLAN)).files.set_index("table").loc["observations"]
    assert (again["loaded"], again["unchanged"], again["rejected"]) == (0, 3, 1)
