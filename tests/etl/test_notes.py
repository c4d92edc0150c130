"""Typed notes: what is sure becomes an observation, what is not stays a remark.

The notes are invented; how crews write is common practice, no source.
"""

import re

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from etl.fields.note_text import read_note, words_of
from etl.known import Known
from sewermap.history.kinds import roles, vocabulary
from sewermap.units import length_m

WORDS = words_of(vocabulary().synonyms)
KNOWN = Known(
    laterals=pd.DataFrame({"lateral": ["L1"]}),
    runs=pd.DataFrame({"run": ["R1"], "lateral": ["L1"], "unit": ["ft"], "launch_reading_m": [0.0], "end_reading_m": [30.0]}),
)
SAFE = {
    "31.5 roots 30% at joint, 4 o'clock": ("31.5", "", "roots", "30%", "4", ""),
    "roots @ 31.5 ft": ("31.5 ft", "", "roots", "", "", ""),
    "44’ 6” crack at 3 o’clock": ("44’ 6”", "", "crack", "", "3", ""),
    "at 12.3m: open joint 2-4 o'clock": ("12.3m", "", "open joint", "", "2", "4"),
    "31.5-34 grease 20 percent": ("31.5", "34", "grease", "20%", "", ""),
    "31.5 to 34 ft Belly": ("31.5 ft", "34 ft", "sag", "", "", ""),
    "31,5 roots 2 ft long": ("31,5", "", "roots", "", "", ""),
    "45 bend at 31.5 ft": ("31.5 ft", "", "bend", "", "", ""),
    "58 at property line": ("58", "", "property line", "", "", ""),
    "31.5 gas line": ("31.5", "", "cross-bore", "", "", ""),
}
NO_KIND = {
    "31.5 no roots": "'no' makes it unsure",
    "31.5 roots?": "makes it unsure",
    "31.5 roots cut": "'cut' makes it unsure",
    "31.5 keine roots": "makes it unsure",
    "31.5 roots, crack": "it may be roots or crack",
    "31.5 something odd": "no word in it names a kind",
    "31.5 broke through near bend": "no word in it names a kind",
    "31.5 roots 130%": "outside 0 to 100 percent",
    "31.5 roots 20-30%": "not clear what '20' tells",
    "31.5 crack at 13 o'clock": "a clock has 1 to 12",
    "31.5 crack 2 o'clock and again 4 o'clock": "more than one clock position",
    "31.5 roots 10% then 20%": "more than one percent",
}
NO_READING = {
    "roots at the joint": "names no reading",
    "roots 31.5": "names no reading",
    "roots at 4": "names no reading",
    "4 inch offset": "names no reading",
    "10:30 roots": "names no reading",
    "31.5.2024 roots": "names no reading",
    "2 cracks": "may be a reading, or tell of what follows it",
    "45 elbow": "may be a reading, or tell of what follows it",
    "44-6 grease": "may be feet and inches, or a stretch",
    "1,234 roots": "could mean 1.234 or 1234",
    "31.5m roots at 33 ft": "more than one length",
}


@pytest.mark.parametrize("note", SAFE)
def test_what_is_safe_is_read(note):
    """Reading, stretch, kind, percent and clock are pieces of the note, as they stand there."""
    read = read_note(note, WORDS)
    found = read.figures
    assert (found.reading, found.to_reading, read.kind, found.percent, found.clock_from, found.clock_to) == SAFE[note]
    assert read.doubt == found.no_reading == ""


@pytest.mark.parametrize("note", NO_KIND)
def test_an_unsure_kind_is_not_guessed(note):
    """Negations, guesses, two kinds at once and figures that nobody can explain leave the kind open, with the reason."""
    read = read_note(note, WORDS)
    assert read.kind == ""
    assert NO_KIND[note] in read.doubt
    assert read.figures.reading == "31.5"


@pytest.mark.parametrize("note", NO_READING)
def test_an_unsure_reading_is_not_guessed(note):
    """A number that may be a count, an angle, a day, a time, a size, or two lengths is no reading."""
    read = read_note(note, WORDS)
    assert read.figures.reading == ""
    assert NO_READING[note] in read.figures.no_reading


pieces = st.sampled_from(
    ["31.5", "44' 6\"", "12", "2", "7", "30%", "4 o'clock", "roots", "crack", "joint", "at", "@", "ft", "m", "to", "-", ",", "no",
     "?", "45 bend", "1,234", "5/31", "10:30", "reading", "%", "o'clock", "'", '"', "°", "Größe", "x2"]
)  # fmt: skip


@given(st.lists(pieces, max_size=9).map(" ".join) | st.text(max_size=40))
def test_no_figure_is_invented(note):
    """Every number that is read out of a note stands in it, with the same signs; and nothing but figures is taken away."""
    read = read_note(note, WORDS)
    found = read.figures
    for text in (found.reading, found.to_reading, found.percent, found.clock_from, found.clock_to):
        for number in re.findall(r"[0-9][0-9.,]*", text):
            assert number.rstrip(".,") in note
    assert set(re.findall(r"[^\W\d_]{3,}", found.rest)) <= set(re.findall(r"[^\W\d_]{3,}", note.translate({0x2019: "'"})))
    assert read.kind in {*roles(), ""}
    assert bool(read.kind) != bool(read.doubt)


readings = st.floats(0.1, 290.0).map(lambda value: f"{value:.1f}")
safe_kinds = st.sampled_from(sorted(kind for kind in roles() if kind not in {"bend", "remark"} and kind.isalpha()))


@given(
    readings, st.sampled_from(["", " ft", "m", "'"]), safe_kinds, st.none() | st.integers(0, 100), st.none() | st.integers(1, 12)
)
def test_a_note_written_plainly_comes_back(reading, unit, kind, percent, clock):
    """Reading, kind, percent and clock written out in the plain order are read as they were meant."""
    note = (
        f"{reading}{unit} {kind}" + ("" if percent is None else f" {percent}%") + ("" if clock is None else f", {clock} o'clock")
    )
    read = read_note(note, WORDS)
    assert (read.figures.reading, read.kind, read.doubt) == (f"{reading}{unit}", kind, "")
    assert length_m(read.figures.reading, "ft") == length_m(f"{reading}{unit}", "ft")
    assert read.figures.percent == ("" if percent is None else f"{percent}%")
    assert read.figures.clock_from == ("" if clock is None else str(clock))


SECTION = '[observations]\nfrom = "notes.csv"\n'


def test_a_sheet_of_notes_alone_becomes_observations(town, is_accounted):
    """Neither reading nor kind needs a column of its own; the note is kept as typed and says that the row was read so."""
    town.csv("notes.csv", "run;note", "R1;31.5 roots 30% at joint, 4 o'clock", "R1;31.5 no roots", "R1;roots", "R1;")
    gathered = town.gather(SECTION, KNOWN)
    assert is_accounted(gathered)
    seen = gathered.tables["observations"]
    columns = ["reading", "reading_m", "kind", "kind_as_written", "percent", "clock_from", "remark", "note"]
    assert seen.loc[0, columns].tolist() == [
        *("31.5", pytest.approx(9.6012), "roots", "roots at joint", 30.0, 4.0),
        *("roots at joint", "31.5 roots 30% at joint, 4 o'clock"),
    ]
    assert seen.loc[1, ["kind", "remark", "note"]].tolist() == ["remark", "31.5 no roots", "31.5 no roots"]
    assert gathered.warnings[["row", "field"]].to_numpy().tolist() == [[3, "note"]]
    assert gathered.rejects.drop_duplicates("row")[["row", "value"]].fillna("").to_numpy().tolist() == [[4, "roots"], [5, ""]]


def test_filled_cells_go_before_the_note(town):
    """A note fills only what is empty; beside a filled reading and kind it joins the remark; a contradiction is told."""
    town.csv(
        "notes.csv",
        "run;reading;kind;percent;remark;note",
        "R1;12;;10;;crack 30%",
        "R1;;sag;;;20.5 belly 30%",
        "R1;12;roots;;seen;see the film",
        "R1;12;;;;13 crack",
        "R1;12;;;;12.0 crack",
    )
    gathered = town.gather(SECTION, KNOWN)
    seen = gathered.tables["observations"][["reading", "kind", "percent", "remark", "note"]].astype(object)
    assert seen.where(seen.notna(), None).to_numpy().tolist() == [
        ["12", "crack", 10.0, "crack", "crack 30%"],
        ["20.5", "sag", 30.0, "belly", "20.5 belly 30%"],
        ["12", "roots", None, "seen; see the film", None],
        ["12", "remark", None, "13 crack", "13 crack"],
        ["12", "crack", None, "crack", "12.0 crack"],
    ]
    assert gathered.warnings["row"].tolist() == [5]
    assert gathered.warnings["reason"].str.contains("its reading is not that of the reading's cell").all()


def test_the_places_own_words_are_known_in_notes(town):
    """Words of `[rules] kinds` and of the section's own values name kinds in notes too."""
    (town.folder / "words.toml").write_text('[words]\n"Wurzeln" = "roots"\n', encoding="utf-8")
    town.csv("notes.csv", "run;note", "R1;3.5 Wurzeln 20%", "R1;4.5 code 77x")
    plan = '[rules]\nkinds = "words.toml"\n' + SECTION + '[observations.values.kind]\n"code 77x" = "grease"\n'
    assert town.gather(plan, KNOWN).tables["observations"]["kind"].tolist() == ["roots", "grease"]


def test_a_doubtful_cross_bore_is_told_with_its_caution(town):
    """What may be a cross-bore is loaded as one, so that its caution is told wherever it is shown, unless the note denies it."""
    town.csv("notes.csv", "run;note", "R1;31.5 gas line?", "R1;12.5 roots or gas line 30%", "R1;13.5 no gas line")
    town.csv("other.csv", "run;reading;note", "R1;9;10 gas line")
    gathered = town.gather(SECTION, KNOWN)
    seen = gathered.tables["observations"]
    assert seen["kind"].tolist() == ["cross-bore", "cross-bore", "remark"]
    assert seen["remark"].tolist() == seen["note"].tolist()
    assert seen["percent"].isna().all()
    other = town.gather(SECTION.replace("notes", "other"), KNOWN).tables["observations"]
    assert other[["reading", "kind"]].to_numpy().tolist() == [["9", "cross-bore"]]
    assert gathered.warnings["row"].tolist() == [2, 3, 4]
    assert gathered.warnings["reason"].str.contains("It may be gas: stop").tolist() == [True, True, False]
