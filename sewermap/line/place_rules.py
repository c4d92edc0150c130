"""The place's own rules that decide where readings lie: the counter's figures, and what is true at the property line."""

import tomllib
from dataclasses import dataclass

from sewermap.errors import SourceError
from sewermap.line.boundary_rule import BoundaryRule, boundary_rule
from sewermap.line.counter_model import CounterModel, model_from_toml


@dataclass(frozen=True)
class PlaceRules:
    """The figures of the counter, and what this place says of its property lines."""

    counter: CounterModel
    boundary: BoundaryRule

    @property
    def material_change_at_property_line(self) -> bool:
        """Whether a change of material that a run sees is the property line."""
        return self.boundary.material_change_at_property_line


def rules_from_texts(texts: dict[str, str]) -> PlaceRules:
    """The rules in force from rule files' texts (``counter``, ``boundary``); what is not given is common practice.

    Raises SourceError for a text that is no TOML or holds a name that is not known.
    """
    return PlaceRules(_counter_rule(texts.get("counter")), boundary_rule(texts.get("boundary")))


def _counter_rule(text: str | None) -> CounterModel:
    try:
        return model_from_toml(text)
    except (tomllib.TOMLDecodeError, ValueError) as error:
        raise SourceError(f"the rule file 'counter' cannot be used: {error}") from error
