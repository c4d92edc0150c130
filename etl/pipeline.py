"""The only file that knows the order: sections as the schema lists them, and for each of them sources, fields, checks."""

import datetime as dt
from collections.abc import Callable

import numpy as np
import pandas as pd
import pyproj

from etl.batch import Batch
from etl.checks import checked
from etl.codes import with_codes
from etl.fields import read_fields
from etl.gathered import Gathered
from etl.known import Known
from etl.plan import Plan, Section
from etl.problems import Problems
from etl.reading import Source, Texts, sources_of, texts_of
from etl.unread_sheets import tell_unread
from sewermap.history.kinds import Vocabulary, vocabulary
from sewermap.store.tables import RECORDED

__all__ = ["Gathered", "Known", "gather"]

_STORE_ADDS = {"id", "content", "loaded_in", "withdrawn_in", "replaced_by"}


@np.errstate(invalid="ignore")  # coordinates that are no numbers are told as problems, not as warnings of numpy
def gather(
    plan: Plan,
    known: Known,
    crs: pyproj.CRS,
    metres_per_unit: float,
    today: dt.date | None = None,
    progress: Callable[[str], None] | None = None,
) -> Gathered:
    """Read all that a plan names: good rows by table, and every other row with the reason why it is not among them.

    ``known`` is what the database holds; good rows of this load join it section by section. ``crs`` is the map's,
    ``metres_per_unit`` its unit. ``today`` (the day of the call without it) tells what lies in the future. ``progress`` hears
    how far the reading of counters is. Each record of each file is either in a table or rejected, never both or neither. Raises
    SourceError for a file that cannot be read.
    """
    problems = Problems()
    tables: dict[str, pd.DataFrame] = {}
    files: list[pd.DataFrame] = []
    sheets: list[tuple[str, str]] = []
    words = vocabulary({**known.rules, **plan.rules}.get("kinds"))
    now = pd.Timestamp(today or dt.date.today())  # noqa: DTZ011 (the day where the user is)
    plan = with_codes(plan, words)
    for section in sorted(plan.sections, key=lambda one: list(RECORDED).index(one.name)):
        sources = sources_of(plan, section, known.pictures, progress)
        texts = texts_of(section, sources, crs, problems)
        _tell_codes(section, texts, words, problems)
        batch = Batch(section, texts.written, texts.cells, texts.places, known, crs, metres_per_unit, now, words)
        rows, rejected = _passed(batch, problems)
        tables[section.name] = rows.loc[~rejected, _columns(section)].reset_index(drop=True)
        files.append(_account(section, sources, texts))
        sheets += [(source.name, source.cells.sheet) for source in sources if source.cells is not None]
        known = known.joined(section.name, rows[~rejected], rows[rejected])
    tell_unread(plan, sheets, problems)
    return Gathered(tables, _files(files), problems.rejects(), problems.warnings(), plan.rules)


def _tell_codes(section: Section, texts: Texts, words: Vocabulary, problems: Problems) -> None:
    """Codes without a partner, once for each file and code, where a crosswalk file says which codes there are."""
    if section.codes is None:
        return
    for file, places in texts.places.groupby("source_file", sort=False):
        kinds = texts.written.loc[places.index, "kind"]
        problems.add_aside(section.name, str(file), section.codes.told(kinds, places["source_row"], words))


def _passed(batch: Batch, problems: Problems) -> tuple[pd.DataFrame, "np.ndarray[tuple[int], np.dtype[np.bool_]]"]:
    batch, findings = read_fields(batch)
    findings += checked(batch)
    return batch.frame, problems.add(batch.name, batch.frame, batch.written, findings)


def _columns(section: Section) -> list[str]:
    ours = [column.name for column in RECORDED[section.name].table.columns if column.name not in _STORE_ADDS]
    return [*(name for name in ours if name != "source_row"), "source_file", "source_row"]


def _account(section: Section, sources: list[Source], texts: Texts) -> pd.DataFrame:
    """What was read of each file. That no row is lost between reading and here is what all counts rest on."""
    read = [source.rows.read for source in sources]
    broken = sum(source.rows.broken["row"].nunique() for source in sources)
    if sum(read) != len(texts.places) + broken:
        raise AssertionError(f"{section.name}: {sum(read)} records were read, {len(texts.places)} + {broken} were kept")
    names, digests = [source.name for source in sources], [source.sha256 for source in sources]
    return pd.DataFrame({"file": names, "table": section.name, "sha256": digests, "read": read})


def _files(accounts: list[pd.DataFrame]) -> pd.DataFrame:
    if accounts:
        return pd.concat(accounts, ignore_index=True)
    texts = {name: pd.Series([], dtype="str") for name in ("file", "table", "sha256")}
    return pd.DataFrame({**texts, "read": pd.Series([], dtype="int64")})
