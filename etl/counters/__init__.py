"""Counters that are burnt into pictures and films, read by optical character recognition (the extra ``media``)."""

from etl.counters.films import read_film
from etl.counters.order import sane
from etl.counters.pictures import read_pictures

__all__ = ["read_film", "read_pictures", "sane"]
