"""A crosswalk file: their codes, our kinds, size rules, and the report of codes without a partner. All codes are invented."""

import pytest

from etl.crosswalk import size_rule, standard_codes
from sewermap.errors import SourceError
from sewermap.history.kinds import vocabulary
from tests.etl.conftest import Town, accounted

HEAD = '[laterals]\nfrom = "laterals.gpkg"\ntie_in = "start"\n[runs]\nfrom = "runs.csv"\n[observations]\nfrom = "obs.csv"\n'
CODES = ("code,kind,size rule,note", "ROT-*,roots,,all roots", "ROT-9,grease,,they changed it", "ZZ,,,a slogan")


def _town(town: Town, *observations: str, columns: str = "run,reading,kind") -> None:
    town.laterals()
    town.csv("runs.csv", "run,lateral,ran_on,unit", "R1,L1,2024-05-31,ft")
    town.csv("obs.csv", columns, *observations)


def test_an_exact_code_goes_before_a_beginning(town):
    """Case and blanks aside, an exact code holds; then the longest beginning; the code as written is kept."""
    _town(town, "R1,4,rot-3", "R1,5,ROT-9", "R1,6,ROT-31x")
    town.csv("codes.csv", *CODES, "ROT-31*,crack,,")
    gathered = town.gather(HEAD + '[crosswalk]\nfrom = "codes.csv"\n')
    assert gathered.tables["observations"]["kind"].tolist() == ["roots", "grease", "crack"]
    assert gathered.tables["observations"]["kind_as_written"].tolist() == ["rot-3", "ROT-9", "ROT-31x"]
    assert gathered.warnings.empty


def test_codes_without_a_partner_are_told_once_each(town):
    """A code without a kind is kept as a remark, an unknown one rejects its rows; each is told once, with count and first row."""
    _town(town, "R1,4,ZZ", "R1,5,ZZ", "R1,6,QQ-1", "R1,7,QQ-1", "R1,8,roots", "R1,9,ROT-1")
    town.csv("codes.csv", *CODES)
    gathered = town.gather(HEAD + '[crosswalk]\nfrom = "codes.csv"\n')
    assert gathered.tables["observations"]["kind"].tolist() == ["remark", "remark", "roots", "roots"]
    assert gathered.rejects["row"].tolist() == [4, 5]
    assert gathered.warnings["row"].tolist() == [2, 4]
    assert gathered.warnings["value"].tolist() == ["ZZ", "QQ-1"]
    assert "2 rows kept as remark" in gathered.warnings["reason"][0]
    assert "no partner in the crosswalk: 2 rows not loaded" in gathered.warnings["reason"][1]
    assert accounted(gathered)


def test_inline_words_and_the_sections_own_go_first(town):
    """What [crosswalk] says beside the file goes before it, and what the section says before both."""
    _town(town, "R1,4,ROT-9", "R1,5,ZZ", "R1,6,ROT-2")
    town.csv("codes.csv", *CODES)
    more = '[observations.values.kind]\nZZ = "bend"\n[crosswalk]\nfrom = "codes.csv"\nZZ = "hole"\n"ROT-9" = "sag"\n'
    gathered = town.gather(HEAD + more)
    assert gathered.tables["observations"]["kind"].tolist() == ["sag", "bend", "roots"]
    assert gathered.warnings.empty


def test_sizes_follow_their_rule(town):
    """A column as percent, millimetres of a bore, classes, and a grade of theirs become ours; an unknown class is rejected."""
    lines = ("R1,1,PCT,35,", "R1,2,MMS,45,", "R1,3,CLS,,b", "R1,4,CLS,,X", "R1,5,GRD,4,", "R1,6,crack,7,")
    _town(town, *lines, columns="run,reading,kind,q1,Class")
    rules = (
        "PCT,roots,percent = Q1,",
        "MMS,roots,mm of 150 = q1,",
        '"CLS",roots,"classes of class: A=10, B=30",',
        "GRD,hole,grade = q1,",
    )
    town.csv("codes.csv", "code,kind,size rule,note", *rules)
    gathered = town.gather(HEAD + '[crosswalk]\nfrom = "codes.csv"\n')
    observations = gathered.tables["observations"]
    assert observations["percent"].fillna(-1).tolist() == [35, 30, 30, -1, -1]  # 45 mm are 30 % of 150 mm
    assert observations["grade"].fillna(-1).tolist() == [-1, -1, -1, 4, -1]
    assert gathered.rejects[["row", "field", "value"]].to_numpy().tolist() == [[5, "percent", "X"]]


@pytest.mark.parametrize(
    ("lines", "sentence"),
    [
        (("code,note", "A,b"), "no column kind"),
        (("code,kind", "A-1,rots"), r"codes\.csv, row 2: 'rots' is no known kind"),
        (("code,kind", "A-1,roots", "a-1,crack"), "row 3: the code 'a-1' cannot mean crack: an earlier row says roots"),
        (("code,kind", ",roots"), "row 2: there is no code"),
        (("code,kind,size rule", "A-1,roots,some"), "row 2: 'some' is no size rule"),
    ],
)
def test_what_is_wrong_in_the_file_is_one_sentence(town, lines, sentence):
    """A crosswalk that cannot be read as one is refused, naming file and row."""
    _town(town, "R1,4,A-1")
    town.csv("codes.csv", *lines)
    with pytest.raises(SourceError, match=sentence):
        town.gather(HEAD + '[crosswalk]\nfrom = "codes.csv"\n')


def test_a_file_that_is_not_there_and_a_column_that_is_not_there(town):
    """Both are named: the crosswalk's file, and the column that a size rule wants."""
    _town(town, "R1,4,A-1")
    with pytest.raises(SourceError, match=r"codes\.csv"):
        town.gather(HEAD + '[crosswalk]\nfrom = "codes.csv"\n')
    town.csv("codes.csv", "code,kind,size rule", "A-1,roots,percent = Size")
    with pytest.raises(SourceError, match="'a-1' names the column 'Size'"):
        town.gather(HEAD + '[crosswalk]\nfrom = "codes.csv"\n')


@pytest.mark.parametrize("text", ["mm of 0 = A", "classes: A", "percent =", "classes: =3"])
def test_no_size_rules(text):
    """A rule without a column, without a size, or of a bore of nothing is none."""
    with pytest.raises(SourceError, match="is no size rule"):
        size_rule(text)


def test_standard_codes_are_those_that_one_kind_bears():
    """EN 13508-2 calls BBA roots (as read in public tables of its codes); BAB is two kinds here, so it means neither."""
    codes = standard_codes(vocabulary())
    assert codes["bba"] == "roots"
    assert codes["bbf"] == "infiltration"
    assert "bab" not in codes
