"""What scripts may rely on: keys, columns, types, days and how missing is said."""

import csv
import io
import json
import re

import pytest

from tests.cli.running import good, sewermap

WHERE = ["lateral", "run", "reading", "unit", "measure_m", "sigma_m", "within_m", "x", "y", "crs", "lon", "lat", "side",
         "side_probability"]  # fmt: skip
DEFECTS = ["issue", "lateral", "property", "street", "kind", "grade", "measure_m", "sigma_m", "within_m", "side", "state",
           "first_seen", "last_seen", "times_seen", "x", "y"]  # fmt: skip
PLACED = ["run", "reading", "unit", "kind", "lateral", "measure_m", "sigma_m", "within_m", "x", "y", "side", "side_probability",
          "grade", "issue", "reason", "source_file", "source_row"]  # fmt: skip
NUMBERS = {"measure_m", "sigma_m", "within_m", "x", "y", "lon", "lat", "side_probability"}
WHOLE = {"grade", "times_seen", "source_row", "row", "read", "loaded", "unchanged", "rejected", "withdrawn"}
DAYS = {"first_seen", "last_seen", "ran_on", "done_on", "begins_on", "installed_on"}
MISSING = {"", "nan", "none", "nat", "null", "n/a", "<na>"}


def leaves(value, name=""):
    """Every plain value of a JSON answer with the key it stands under."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from leaves(inner, key)
    elif isinstance(value, list):
        for inner in value:
            yield from leaves(inner, name)
    else:
        yield name, value


def well_typed(answer) -> bool:
    """Days are YYYY-MM-DD, numbers are numbers, whole numbers whole, and missing is null, never an empty or telling text."""
    for name, value in leaves(answer):
        if value is None:
            continue
        if isinstance(value, str):
            assert value.casefold() not in MISSING, (name, value)
        if name in DAYS:
            assert re.fullmatch(r"\d{4}-\d\d-\d\d", value), (name, value)
        elif name in WHOLE:
            assert isinstance(value, int), (name, value)
            assert not isinstance(value, bool), (name, value)
        elif name in NUMBERS:
            assert isinstance(value, float), (name, value)
    return True


def test_where_has_its_keys(town):
    """``where`` is one object with the keys of the design, in their order, as numbers and texts."""
    answer = good(sewermap("where", "L-0051", "53.3", "--run", "BF-1007", "--format", "json", "--db", town.db)).json
    assert list(answer)[: len(WHERE)] == WHERE
    assert all(answer[name] is not None for name in WHERE)
    assert answer["crs"] == "EPSG:26910"
    assert (answer["reading"], answer["unit"]) == ("53.3", "ft")
    assert well_typed(answer)


def test_where_of_a_reading_past_the_line_is_an_answer_without_a_place(town):
    """A reading that does not fit its line is no error: all keys are there, numbers are null, and a reason says why."""
    answer = good(sewermap("where", "L-0051", "900", "--run", "BF-1007", "--format", "json", "--db", town.db)).json
    assert {name for name in WHERE if answer[name] is None} == NUMBERS | {"side"}
    assert "past the tie-in" in answer["reason"]
    text = good(sewermap("where", "L-0051", "900", "--run", "BF-1007", "--format", "csv", "--db", town.db)).out
    row = next(csv.DictReader(io.StringIO(text)))
    assert {name for name in WHERE if row[name] == ""} == NUMBERS | {"side"}


def test_defects_are_a_list_with_their_keys(town):
    """``defects`` is a top-level array; every row has the keys of the design; nothing is missing by another word than null."""
    answer = good(sewermap("defects", "--format", "json", "--db", town.db)).json
    assert len(answer) > 50
    assert all(set(DEFECTS) <= set(row) for row in answer)
    assert any(value is None for _, value in leaves(answer))
    assert well_typed(answer)
    assert len({row["issue"] for row in answer}) == len(answer)


def test_no_defects_are_an_empty_list(town):
    """Nothing found is an empty array, a header line, an empty collection, and a sentence for people; no error."""
    none = ["defects", "--until", "1999-12-31", "--db", town.db]
    assert good(sewermap(*none, "--format", "json")).json == []
    text = good(sewermap(*none, "--format", "csv")).out
    assert text.count("\n") == 1
    assert set(DEFECTS) <= set(text.strip().split(","))
    assert good(sewermap(*none, "--format", "geojson")).json["features"] == []
    assert good(sewermap(*none)).out == "0 defects\n"


def test_json_and_csv_say_the_same(town):
    """Every cell of the CSV is the JSON's value, null as an empty cell."""
    rows = good(sewermap("defects", "--format", "json", "--db", town.db)).json
    text = good(sewermap("defects", "--format", "csv", "--db", town.db)).out
    cells = list(csv.DictReader(io.StringIO(text)))
    assert cells == [{name: "" if value is None else str(value) for name, value in row.items()} for row in rows]


def test_history_has_its_keys(town):
    """``history`` is one object: runs, issues with sightings, works and warranties, each in order of time."""
    answer = good(sewermap("history", "L-0051", "--format", "json", "--db", town.db)).json
    assert {"lateral", "runs", "issues", "works", "warranties"} <= set(answer)
    assert len(answer["runs"]) == 3
    assert [run["ran_on"] for run in answer["runs"]] == sorted(run["ran_on"] for run in answer["runs"])
    assert {"run", "ran_on"} <= set(answer["runs"][0])
    for issue in answer["issues"]:
        assert {"issue", "kind", "state", "sightings"} <= set(issue)
        for sighting in issue["sightings"]:
            assert {"run", "ran_on", "measure_m", "sigma_m", "grade"} <= set(sighting)
    assert well_typed(answer)


def test_history_of_every_lateral_is_told(town):
    """Each lateral's story can be told in JSON, and every fourth's as text, whatever is known or not known of it."""
    listed = good(sewermap("export", town.folder / "laterals.csv", "--table", "laterals", "--db", town.db))
    assert listed.out == ""
    with (town.folder / "laterals.csv").open(encoding="utf-8", newline="") as file:
        names = [row["lateral"] for row in csv.DictReader(file)]
    assert len(names) == 60
    works = warranties = 0
    for name in names:
        answer = good(sewermap("history", name, "--format", "json", "--db", town.db)).json
        assert well_typed(answer)
        works, warranties = works + len(answer["works"]), warranties + len(answer["warranties"])
    for name in names[::4]:
        assert name in good(sewermap("history", name, "--db", town.db)).out
    assert (works, warranties) == (40, 49 + 7)  # seven works opened a warranty of their own


def test_load_has_its_keys(town):
    """``load`` is one object: files with their counts, rejects and warnings with file, row, field, value and reason."""
    for answer in town.reports:
        assert list(answer) == ["files", "rejects", "warnings"]
        for file in answer["files"]:
            assert list(file) == ["file", "table", "read", "loaded", "unchanged", "rejected", "withdrawn"]
            assert file["read"] == file["loaded"] + file["unchanged"] + file["rejected"]
        for problem in answer["rejects"] + answer["warnings"]:
            assert list(problem) == ["file", "row", "field", "value", "reason"]
            assert problem["reason"]
        assert well_typed(answer["files"] + answer["rejects"])
        assert well_typed([{**warning, "value": None} for warning in answer["warnings"]])


def test_placed_observations_as_csv_have_their_columns(town, tmp_path):
    """One row for each loaded observation, features too; source_row counts from 1, the header being 1; x empty means no place."""
    good(sewermap("export", tmp_path / "out.csv", "--table", "placed_observations", "--db", town.db))
    with (tmp_path / "out.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert set(PLACED) <= set(rows[0])
    loaded = sum(file["loaded"] for answer in town.reports for file in answer["files"] if file["table"] == "observations")
    assert len(rows) == loaded
    assert {"tie-in", "clean-out", "roots"} <= {row["kind"] for row in rows}
    for row in rows:
        assert (row["x"] == "") == (row["y"] == "") == (row["measure_m"] == "")
        assert row["x"] or row["reason"]
        assert bool(row["issue"]) == (row["role"] == "defect")
        assert row["ran_on"][4:8:3] == "--"
    written = {}
    for row in rows:
        name = row["source_file"]
        if name not in written:
            encoding = "cp1252" if "brumelaine" in name else "utf-8-sig"
            written[name] = (town.folder / name).read_text(encoding=encoding).splitlines()
        assert row["run"] in written[name][int(row["source_row"]) - 1]
        assert row["reading"].replace('"', '""') in written[name][int(row["source_row"]) - 1]


def test_rejected_rows_are_those_that_are_wrong_on_purpose(town):
    """The sample town's own list of wrong rows (its truth) and the loads' rejects name the same rows."""
    with (town.folder / "truth" / "bad_rows.csv").open(encoding="utf-8", newline="") as file:
        expected = {(row["file"], int(row["row"])) for row in csv.DictReader(file) if row["expect"] == "rejected"}
    told = {(row["file"], row["row"]) for answer in town.reports for row in answer["rejects"]}
    assert expected <= told
    assert len(told) == len(expected)


@pytest.mark.parametrize("words", [["history", "L-0051"], ["defects"], ["where", "L-0051", "5", "--run", "BF-1007"]])
def test_output_holds_only_the_answer(town, words):
    """JSON on standard output is JSON from its first to its last byte, and what is no answer is on standard error."""
    done = good(sewermap(*words, "--format", "json", "--db", town.db))
    assert json.loads(done.out) is not None
    assert done.out.endswith("\n")
