"""The place's own rules that decide where readings lie: the counter's figures, and what is true at the property line."""

import tomllib
from dataclasses import dataclass

from sewermap.errors import SourceError
from sewermap.line.counter_model import CounterModel, model_from_toml


@dataclass(frozen=True)
class PlaceRules:
    """``material_change_at_property_line``: owners here used one pipe material and the town another, so a change of material
    that a run sees is the property line.
    """

    counter: CounterModel
    material_change_at_property_line: bool = False


def rules_from_texts(texts: dict[str, str]) -> PlaceRules:
    """The rules in force from rule files' texts (``counter``, ``boundary``); what is not given is common practice.

    Raises SourceError for a text that is no TOML or holds a name that is not known.
    """
    boundary = texts.get("boundary")
    changes_at_line = _boundary_rule(boundary) if boundary else False
    return PlaceRules(_counter_rule(texts.get("counter")), changes_at_line)


def _counter_rule(text: str | None) -> CounterModel:
    try:
        return model_from_toml(text)
    except (tomllib.TOMLDecodeError, ValueError) as error:
        raise SourceError(f"the rule file 'counter' cannot be used: {error}") from error


def _boundary_rule(text: str) -> bool:
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SourceError(f"the rule file 'boundary' is not valid TOML: {error}") from error
    unknown = sorted(set(table) - {"material_change_at_property_line"})
    if unknown:
        raise SourceError(f"the rule file 'boundary' names {', '.join(unknown)}; known is material_change_at_property_line")
    value = table.get("material_change_at_property_line", False)
    if not isinstance(value, bool):
        raise SourceError("the rule file 'boundary': material_change_at_property_line is either true or false")
    return value
