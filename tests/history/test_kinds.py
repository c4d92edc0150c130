"""The vocabulary: words to kinds, and what is known of each kind."""

import re
import tomllib
from importlib import resources
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sewermap.errors import SourceError, UnknownNameError
from sewermap.history.kinds import kind_of, nearest_kinds, referent_kinds, roles, vocabulary
from sewermap.history.words import folded, likeness

LISTED = tomllib.loads(resources.files("sewermap.history").joinpath("kinds.toml").read_text(encoding="utf-8"))["kinds"]

KINDS = {
    "defect": "crack, open crack, hole, collapse, deformation, offset joint, open joint, shifted coupling, roots, grease, "
    "deposits, debris, sag, standing water, infiltration, exfiltration, intruding connection, seal in the bore, corrosion, wear, "
    "lining defect, obstruction, cross-bore, animal",
    "feature": "bend, clean-out, wye, tap, material change, size change, property line, tie-in, joint, repair, building",
    "look": "under water, lens dirty, stopped short, could not pass, turned back, remark",
}

# Common practice, no source: how crews write.
CREWS_WRITE = {
    "root ball": "roots", "Root Mass": "roots", "root": "roots", "belly": "sag", "dip": "sag", "offset": "offset joint",
    "offset joints": "offset joint", "fracture": "open crack", "protruding tap": "intruding connection", "wall": "building",
    "co": "clean-out", "C/O": "clean-out", "c.o.": "clean-out", "cleanout": "clean-out", "clean_out": "clean-out",
    "break": "hole", "collapsed": "collapse", "cave-in": "collapse", "can’t pass": "could not pass", "main": "tie-in",
    "gas line": "cross-bore", "Cross Bore": "cross-bore",
}  # fmt: skip

# EN 13508-2, main codes. Read in public tables of contents and federal guidance; the others are from memory.
READ = {
    "hole": "BAC",
    "collapse": "BAC",
    "obstruction": "BBE",
    "infiltration": "BBF",
    "standing water": "BDD",
    "wye": "BCA",
    "tap": "BCA",
}
FROM_MEMORY = {
    "deformation": "BAA", "crack": "BAB", "open crack": "BAB", "corrosion": "BAF", "wear": "BAF", "intruding connection": "BAG",
    "offset joint": "BAJ", "open joint": "BAJ", "shifted coupling": "BAJ", "roots": "BBA", "grease": "BBB", "deposits": "BBB",
    "debris": "BBC", "repair": "BCB", "bend": "BCC",
}  # fmt: skip


def test_all_kinds_are_there_in_their_order() -> None:
    """The 24 defects, 11 features and 6 states of the look, and a kind's code is its place among them."""
    asked = {kind: role for role, kinds in KINDS.items() for kind in kinds.split(", ")}
    assert roles() == asked
    assert list(roles()) == list(asked) == list(vocabulary().names)
    assert [vocabulary().code(name) for name in vocabulary().names] == list(range(41))
    assert vocabulary().is_defect.tolist() == [role == "defect" for role in asked.values()]
    assert referent_kinds() == {"property line", "tie-in", "building"}


@pytest.mark.parametrize("word", CREWS_WRITE)
def test_words_of_crews(word: str) -> None:
    """A word as crews write it means its kind."""
    assert kind_of(word) == CREWS_WRITE[word]


def test_a_word_means_one_kind() -> None:
    """No word is listed for two kinds: a list that said so would depend on its order."""
    for kind in vocabulary().names:
        assert kind_of(kind) == kind
    listed = [(folded(word), kind) for kind, said in LISTED.items() for word in said["words"]]
    assert {(word, kind) for word, kind in listed if kind_of(word) != kind} == set()
    assert len({word for word, _ in listed}) == len(listed)


@given(st.sampled_from(sorted(vocabulary().synonyms)), st.data())
@settings(deadline=None, max_examples=60)
def test_case_hyphens_and_blanks_do_not_matter(word: str, data: st.DataObject) -> None:
    """However a known word is spaced, joined by hyphens or low lines, or capitalised, it means the same."""
    joins = st.sampled_from([" ", "  ", "-", "_", " - "])
    spelt = "".join(data.draw(joins) if sign == " " else data.draw(st.sampled_from([sign, sign.upper()])) for sign in word)
    assert kind_of(f" {spelt} ") == kind_of(word)


def test_an_unknown_word_is_told_the_nearest_kinds() -> None:
    """The nearest kinds are named by our words, with the way of writing that is like the strange one; never a silent other."""
    with pytest.raises(UnknownNameError, match=r"^'rots' is no known kind; the nearest known are roots, "):
        kind_of("rots")
    assert nearest_kinds("bely").startswith("the nearest known are sag (as 'belly'), ")
    assert nearest_kinds("collpase").startswith("the nearest known are collapse, ")
    kinds = re.sub(r" \(as [^)]*\)", "", nearest_kinds("ofset").removeprefix("the nearest known are ")).split(", ")
    assert kinds[0] == "offset joint"
    assert len(set(kinds)) == 3
    assert set(kinds) <= set(roles())


def test_likeness_of_words() -> None:
    """The textbook pair for Dice's coefficient on pairs of letters: night and nacht share one of four, 0.25 (from memory)."""
    night, nacht = ({word[at : at + 2] for at in range(4)} for word in ("night", "nacht"))
    assert likeness(frozenset(night), frozenset(nacht)) == 0.25


def test_codes_of_a_column() -> None:
    """A column of canonical kinds becomes their codes; any other text is an error that names it, not a code."""
    kinds = pd.Series(["turned back", "crack", "roots"])
    assert [vocabulary().names[code] for code in vocabulary().codes(kinds)] == kinds.tolist()
    assert vocabulary().codes(kinds.head(0)).shape == (0,)
    with pytest.raises(UnknownNameError, match="'rots' is no known kind"):
        vocabulary().codes(pd.Series(["roots", "rots"]))


def test_what_turns_into_what() -> None:
    """Rows are probabilities with the kind itself above a half; roles never mix; what crews confuse is likelier than the rest."""
    turns = vocabulary().turns_into
    assert turns.shape == (41, 41)
    assert (turns >= 0).all()
    np.testing.assert_allclose(turns.sum(axis=1), 1.0, rtol=1e-12)
    assert (np.diag(turns) > 0.5).all()
    role = np.array(list(roles().values()))
    assert (turns[role[:, None] != role[None, :]] == 0).all()
    assert (turns[role[:, None] == role[None, :]] > 0).all()
    code = vocabulary().code
    confused = (
        ("crack", "open crack"),
        ("offset joint", "open joint"),
        ("shifted coupling", "offset joint"),
        ("sag", "standing water"),
    )
    confused += (
        ("deposits", "debris"),
        ("grease", "deposits"),
        ("infiltration", "roots"),
        ("roots", "infiltration"),
        ("wye", "tap"),
    )
    for kind, other in confused:
        assert turns[code(kind), code(other)] >= 10 * turns[code(kind)].min(initial=1, where=turns[code(kind)] > 0), (kind, other)


def test_what_mends_what() -> None:
    """Spot repair and replacement mend every defect, relining all but a cross-bore, which it would only hide; root cutting
    roots; cleaning grease, deposits and debris; no work mends a feature (design, *State*).
    """
    mended = {work: {vocabulary().names[at] for at in np.flatnonzero(by)} for work, by in vocabulary().mended_by.items()}
    defects = {kind for kind, role in roles().items() if role == "defect"}
    assert mended == {
        "cleaning": {"grease", "deposits", "debris"},
        "root cutting": {"roots"},
        "spot repair": defects,
        "relining": defects - {"cross-bore"},
        "replacement": defects,
        "other": set(),
    }


def test_outward_references() -> None:
    """Main codes of EN 13508-2 stand only where we know them, and those from memory say so."""
    known = {name: code for name, code in zip(vocabulary().names, vocabulary().en13508, strict=True) if code}
    assert known == READ | FROM_MEMORY
    memory = {name for name, flag in zip(vocabulary().names, vocabulary().code_from_memory, strict=True) if flag}
    assert memory == set(FROM_MEMORY)


def test_size_water_and_caution() -> None:
    """A measure of size is one of three or none; water hides, except what is water; a cross-bore says stop."""
    words = vocabulary()
    assert set(words.size) == {"percent", "degrees", "mm", ""}
    assert ((words.seen_under_water > 0) & (words.seen_under_water <= 1)).all()
    assert all(words.seen_under_water[words.code(kind)] == 1 for kind in ("standing water", "sag", "under water"))
    assert words.seen_under_water[words.code("crack")] < words.seen_under_water[words.code("collapse")]
    caution = words.caution[words.code("cross-bore")]
    assert all(part in caution for part in ("gas", "stop", "no cutting", "no jetting", "call the gas utility"))
    assert not words.spreads[words.code("offset joint")]
    assert words.spreads[words.code("sag")]


def test_nobody_can_change_what_all_share() -> None:
    """The vocabulary is made once, so its tables refuse to be written."""
    with pytest.raises(ValueError, match="read-only"):
        vocabulary().turns_into[0, 0] = 0.0
    with pytest.raises(TypeError):
        vocabulary().synonyms["x"] = "roots"
    assert vocabulary() is vocabulary()


def test_a_place_adds_words_of_its_own() -> None:
    """Words of a user's file mean their kind beside ours, in any language, and only in the vocabulary that was given them."""
    own = vocabulary('[words]\n"Wurzeln" = "roots"\n"Riß" = "crack"\n"beläggning" = "scale"\n"root ball" = "roots"\n')
    assert [kind_of(word, own) for word in ("WURZELN", "riss", "Beläggning", "root ball", "belly")] == [
        "roots", "crack", "deposits", "roots", "sag",
    ]  # fmt: skip
    assert own.names == vocabulary().names
    assert "(as 'wurzeln')" in nearest_kinds("wurzel", own)
    with pytest.raises(UnknownNameError):
        kind_of("Wurzeln")
    assert kind_of("roots", vocabulary("")) == "roots"


@pytest.mark.parametrize(
    ("text", "told"),
    {
        '[words]\n"belly" = "roots"': "the word 'belly' cannot mean roots: it already means sag",
        '[words]\n"Riss" = "crack"\n"RISS" = "hole"': "the word 'RISS' cannot mean hole: it already means crack",
        '[words]\n"Wurzeln" = "rots"': "the word 'Wurzeln' cannot mean 'rots': 'rots' is no known kind; the nearest",
        '[words]\n"Wurzeln" = ["roots"]': "must be given one kind",
        '[words]\n" - " = "roots"': "is no word",
        '"Wurzeln" = "roots"': "holds one table, [words]",
        "[word]\na = 'roots'": "holds one table, [words]",
        "words = 3": "holds one table, [words]",
        "[words": "no valid TOML",
    }.items(),
)
def test_what_a_file_of_words_may_not_say(text: str, told: str) -> None:
    """A word with two meanings, an unknown kind or another shape is one sentence."""
    with pytest.raises(SourceError) as error:
        vocabulary(text)
    assert told in str(error.value)


def test_the_page_tells_what_the_vocabulary_holds() -> None:
    """docs/kinds.md says of each kind what it means and what must be told with it, and names every way of writing it."""
    page = (Path(__file__).parents[2] / "docs" / "kinds.md").read_text(encoding="utf-8")
    entries = re.findall(r"^- `([^`]+)`(: .*(?:\n  .*)*)", page, flags=re.MULTILINE)
    told = {kind: " ".join(text.split()) for kind, text in entries}
    for name, what, caution in zip(vocabulary().names, vocabulary().what, vocabulary().caution, strict=True):
        assert told[name].startswith(f": {what}")
        assert caution in told[name]
        assert {word for word in LISTED[name]["words"] if word not in told[name]} == set()
