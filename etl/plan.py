"""SOURCES.toml to a typed plan. Whatever is wrong in it is one sentence that names file, section and key.

The plan says what to read and how their names and words become ours; it opens none of the files it names, but those of
``[rules]``, whose text is part of what is loaded.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import Any, NoReturn

import pyproj

from etl.catalogue import FIELDS, SHAPES, field_names
from etl.crosswalk import Crosswalk
from etl.plan_files import files_named
from etl.vocabulary import VOCABULARY, fold, near, our_word, plain
from sewermap.errors import LengthError, SourceError, UnknownNameError
from sewermap.history.grading import grade_table
from sewermap.history.kinds import Vocabulary, kind_of, vocabulary
from sewermap.history.warranty_rules import warranty_rules
from sewermap.line.boundary_rule import boundary_rule
from sewermap.line.fall_rules import fall_rules
from sewermap.units import unit_of

RULES = ("counter", "boundary", "kinds", "grades", "warranties", "fall")
"""Names that ``[rules]`` may hold: figures of the counter model, where private ends, more words for kinds, a table of grades,
warranties that works open, slopes and bends."""

NO_COLUMN = ""
"""What ``fields`` maps a field to that is said to have no column, also where one bears its name."""

TIE_INS = ("start", "end", "main")
DATE_ORDERS = ("mdy", "dmy", "ymd")
_OPTIONS = ("from", "table", "layer", "crs", "tie_in", "unit", "dates", "encoding", "separator")
_FLAGS = ("read_counters",)
_TABLES = ("fields", "defaults", "values")
_SECTIONS_BESIDE = ("rules", "crosswalk")


@dataclass(frozen=True)
class Section:
    """What one section of a SOURCES.toml asks for. Mappings are by our names of fields; words to be replaced are folded."""

    name: str
    files: tuple[Path, ...] = ()
    url: str | None = None
    table: str | None = None
    layer: str | None = None
    crs: str | None = None
    tie_in: str | None = None
    unit: str | None = None
    dates: str | None = None
    encoding: str | None = None
    separator: str | None = None
    fields: Mapping[str, str] | None = None
    defaults: Mapping[str, str] | None = None
    values: Mapping[str, Mapping[str, str]] | None = None
    codes: Crosswalk | None = None
    read_counters: bool = False


@dataclass(frozen=True)
class Plan:
    """A SOURCES.toml: the map's CRS if it says one, its sections in the order of loading, the text of its rule files.

    ``crosswalk`` is the file of codes that ``[crosswalk]`` names; ``etl.codes`` reads it.
    """

    path: Path
    crs: pyproj.CRS | None
    sections: tuple[Section, ...]
    rules: Mapping[str, str]
    crosswalk: Path | None = None

    @cached_property
    def folder(self) -> Path:
        """The folder that paths of files are told from."""
        return self.path.resolve().parent


def read_plan(path: str | Path) -> Plan:
    """The plan that a SOURCES.toml states.

    Raises SourceError for a file that is missing or no TOML, for an unknown section, key, field or word (naming the nearest
    known one), for a missing ``from``, a pattern that no file matches, a CRS that does not exist, a ``tie_in`` other than
    start, end or main, and for rules that are unknown or whose file is missing.
    """
    path = Path(path)
    said = _toml(path)
    for name in said:
        if name not in FIELDS and name not in _SECTIONS_BESIDE and name != "crs":
            known = [*FIELDS, *_SECTIONS_BESIDE]
            raise SourceError(f"{path.name}: [{name}] is no section; {near(name, known)}")
    reader = _Reader(path)
    rules = reader.rules(_table_of(path, said, "rules"))
    reader.vocabulary = vocabulary(rules.get("kinds"))
    codes = _table_of(path, said, "crosswalk")
    crosswalk = reader.words("crosswalk", "kind", {code: kind for code, kind in codes.items() if code != "from"})
    sections = [reader.section(name, _table_of(path, said, name), crosswalk) for name in FIELDS if name in said]
    return Plan(path, reader.map_crs(said.get("crs")), tuple(sections), rules, reader.crosswalk(codes))


def _toml(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        raise SourceError(f"there is no file {path}; `sewermap load` needs a SOURCES.toml") from None
    except IsADirectoryError:
        raise SourceError(f"{path} is a folder; name its SOURCES.toml, or have one drafted by --draft -o SOURCES.toml") from None
    except (OSError, UnicodeDecodeError) as error:
        raise SourceError(f"{path} cannot be read: {error}") from None
    except tomllib.TOMLDecodeError as error:
        raise SourceError(f"{path.name} is no valid TOML: {error}") from None


def _table_of(path: Path, said: dict[str, Any], name: str) -> dict[str, Any]:
    table = said.get(name, {})
    if isinstance(table, list):
        raise SourceError(f'{path.name}: [[{name}]] must be one [{name}]; from = ["a", "b"] may name several files')
    if not isinstance(table, dict):
        raise SourceError(f"{path.name}: {name} must be a section, [{name}]")
    return table


class _Reader:
    """Reads sections of one file and knows how to complain about them."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.folder = path.resolve().parent
        self.vocabulary = vocabulary()

    def wrong(self, where: str, sentence: str) -> NoReturn:
        raise SourceError(f"{self.path.name}, [{where}]: {sentence}")

    def map_crs(self, text: object) -> pyproj.CRS | None:
        if text is None:
            return None
        crs = self._crs(text, f"{self.path.name}: crs")
        if not crs.is_projected:
            raise SourceError(f"{self.path.name}: crs = {text!r} is not projected; the map needs metres or feet, not degrees")
        return crs

    def rules(self, said: dict[str, Any]) -> dict[str, str]:
        texts = {}
        for name, file in said.items():
            if name not in RULES:
                self.wrong("rules", f"{name} is no rule; {near(name, RULES)}")
            try:
                texts[name] = (self.folder / str(file)).read_text(encoding="utf-8-sig")
            except (OSError, UnicodeDecodeError) as error:
                self.wrong("rules", f"{name} = {file!r} cannot be read: {getattr(error, 'strerror', None) or error}")
            try:
                _check_rule(name, texts[name])
            except SourceError as error:
                self.wrong("rules", f"{name} = {file!r}: {error}")
        return texts

    def crosswalk(self, said: dict[str, Any]) -> Path | None:
        """The file that ``from`` names."""
        if "from" not in said:
            return None
        path = self.folder / self._option("crosswalk", "from", said["from"])
        if not path.is_file():
            self.wrong("crosswalk", f"no file matches from = {said['from']!r}")
        return path

    def section(self, name: str, said: dict[str, Any], crosswalk: dict[str, str]) -> Section:
        for key in said:
            if key not in (*_OPTIONS, *_FLAGS, *_TABLES):
                hint = f"; fields stand in [{name}.fields] or [{name}.defaults]" if key in field_names(name) else ""
                self.wrong(name, f"{key} is no key of a section; {near(key, [*_OPTIONS, *_FLAGS, *_TABLES])}{hint}")
        options = {key: self._option(name, key, said[key]) for key in _OPTIONS if key in said and key != "from"}
        self._check_options(name, options)
        url, files = self._from(name, said, options)
        values = self._values(name, said.get("values", {}))
        if name == "observations" and crosswalk:
            values["kind"] = crosswalk | values.get("kind", {})
        return Section(
            name,
            files,
            url,
            fields=self._mapping(name, "fields", said),
            defaults=self._mapping(name, "defaults", said),
            values=values,
            codes=None,
            read_counters=self._flag(name, "read_counters", said),
            **options,
        )

    def _flag(self, section: str, key: str, said: dict[str, Any]) -> bool:
        value = said.get(key, False)
        if not isinstance(value, bool):
            self.wrong(section, f"{key} must be true or false, not {value!r}")
        if value and section != "pictures":
            self.wrong(section, f"{key} is a key of [pictures] alone")
        return value

    def _option(self, section: str, key: str, value: object) -> str:
        if not isinstance(value, str) or not value:
            self.wrong(section, f"{key} must be a text in quotation marks, not {value!r}")
        return value

    def _check_options(self, section: str, options: dict[str, str]) -> None:
        for key, allowed in (("tie_in", TIE_INS), ("dates", DATE_ORDERS)):
            if key in options and options[key] not in allowed:
                self.wrong(section, f"{key} = {options[key]!r} must be one of {', '.join(allowed)}")
        if "tie_in" in options and section != "laterals":
            self.wrong(section, "tie_in is a key of [laterals] alone")
        if "crs" in options:
            self._crs(options["crs"], f"{self.path.name}, [{section}]: crs")
        if "unit" in options:
            try:
                unit_of(options["unit"])
            except LengthError as error:
                self.wrong(section, f"unit = {options['unit']!r} must be ft or m ({error})")
        if len(options.get("separator", ",")) != 1:
            self.wrong(section, f"separator = {options['separator']!r} must be one character")

    def _from(self, section: str, said: dict[str, Any], options: dict[str, str]) -> tuple[str | None, tuple[Path, ...]]:
        source = said.get("from")
        patterns = [str(one) for one in source] if isinstance(source, list) else [str(source or "")]
        if not patterns or not all(patterns):
            self.wrong(section, 'from is missing; from = "gis/laterals.gpkg" says which file (or files: a * stands for any text)')
        if not any(one.startswith(("postgresql:", "postgresql+", "postgres:")) for one in patterns):
            if "table" in options:
                self.wrong(section, 'table goes with from = "postgresql://…"; a layer of a file is said by layer =')
            return None, self._files(section, patterns)
        if len(patterns) > 1:
            self.wrong(section, "from can name files, or one database, not both")
        if "table" not in options:
            self.wrong(section, 'table is missing; table = "schema.name" says which table of the database')
        return patterns[0], ()

    def _files(self, section: str, patterns: list[str]) -> tuple[Path, ...]:
        try:
            return files_named(self.folder, patterns, stick=section == "pictures")
        except SourceError as error:
            self.wrong(section, str(error))

    def _mapping(self, section: str, key: str, said: dict[str, Any]) -> dict[str, str]:
        where = f"{section}.{key}"
        table = self._table(where, said.get(key, {}))
        for name, value in table.items():
            self._field(where, section, name)
            if isinstance(value, dict | list) or value == "":
                self.wrong(where, f"{name} = {value!r} must be one text or number")
            if key == "fields" and not isinstance(value, str) and value is not False:
                self.wrong(where, f"{name} = {value!r} must name a column, in quotation marks (or be false: no column)")
        none = {name: NO_COLUMN for name, value in table.items() if key == "fields" and value is False}
        return {name: value.isoformat() if isinstance(value, date) else str(value) for name, value in table.items()} | none

    def _values(self, section: str, said: object) -> dict[str, dict[str, str]]:
        tables = self._table(f"{section}.values", said)
        for name in tables:
            self._field(f"{section}.values", section, name)
        readers = {field.name: field.reader for field in FIELDS[section]}
        return {
            name: self.words(f"{section}.values.{name}", readers[name], self._table(f"{section}.values.{name}", words))
            for name, words in tables.items()
        }

    def words(self, where: str, reader: str, said: dict[str, Any]) -> dict[str, str]:
        """Their words, folded, to ours; a word of ours that its field cannot hold is a mistake of the plan."""
        for theirs, ours in said.items():
            if isinstance(ours, dict | list):
                self.wrong(where, f"{theirs!r} = {ours!r} must be one text or number")
            try:
                _check_word(reader, str(ours), self.vocabulary)
            except (UnknownNameError, LengthError) as error:
                self.wrong(where, f"{theirs!r}: {error}")
        return {fold(theirs): str(ours) for theirs, ours in said.items()}

    def _table(self, where: str, said: object) -> dict[str, Any]:
        if not isinstance(said, dict):
            self.wrong(where, 'must be a table of name = "value"')
        return said

    def _field(self, where: str, section: str, name: str) -> None:
        if name not in field_names(section):
            self.wrong(where, f"{name} is no field of {section}; {_nearest_field(section, name)}")

    def _crs(self, text: object, where: str) -> pyproj.CRS:
        try:
            return pyproj.CRS.from_user_input(text)
        except pyproj.exceptions.CRSError:
            raise SourceError(
                f'{where} = {text!r} is no coordinate reference system; write it as "EPSG:26910" or as WKT'
            ) from None


def _nearest_field(section: str, name: str) -> str:
    if plain(name) == "geometry" and section in SHAPES:
        return "the geometry is taken from the layer by itself"
    return near(name, field_names(section))


def _check_rule(name: str, text: str) -> None:
    if name == "kinds":
        vocabulary(text)
    elif name == "grades":
        grade_table(text)
    elif name == "warranties":
        warranty_rules(text)
    elif name == "boundary":
        boundary_rule(text)
    elif name == "fall":
        fall_rules(text)


def _check_word(reader: str, word: str, words_for_kinds: Vocabulary) -> None:
    if reader == "kind":
        kind_of(word, words_for_kinds)
    elif reader == "unit":
        unit_of(word)
    elif reader in VOCABULARY and our_word(reader, word) is None:
        raise UnknownNameError(f"{word!r} is not one of our words; {near(word, VOCABULARY[reader])}")
