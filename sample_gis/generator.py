"""An invented town with all its truth: what lies in the ground, who looked at it, and what their counters showed.

>>> town = make_town(laterals=12)
>>> len(town.laterals), sorted(set(town.runs["crew_name"]))
(12, ['Brindlefold', 'Brumelaine', 'Fennimole'])
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sample_gis.bores import with_bores
from sample_gis.defects import PERCENT, defects_of
from sample_gis.laying import Laid, known_points, laid_on, private_material
from sample_gis.lives import Lives, Round, live_through
from sample_gis.notes import features_of
from sample_gis.papers import warranties_of
from sample_gis.picked import picture_names
from sample_gis.pipes import Ground, ground_of
from sample_gis.pushes import launches_of, round_of_runs
from sample_gis.readings import UNITS, read_counters
from sample_gis.settings import DEMO, SEED, Settings
from sample_gis.slopes import falls_of
from sample_gis.streets import Lots, Streets, streets_and_lots
from sample_gis.terms import with_terms
from sample_gis.wording import CREWS, as_written, remarks, run_names

LOCATED_SD_M = 0.12
PERCENT_A_GRADE = 15.0


@dataclass(frozen=True)
class Town:
    """A town and its truth. All tables are in metres and map coordinates (``streets.CRS``); rows are named by position.

    ``laterals`` one row a property (order of ``ground`` and ``lots``); ``points`` clean-outs, bends and surveyed property
    lines; ``defects`` with truth_id; ``runs`` with their true errors; ``observations`` with reading as written and true_x,
    true_y, true_measure_m, truth_id; ``states`` each defect in each run; ``works`` and ``outcomes``; ``warranties``;
    ``falls`` one row a lateral (see ``falls_of``).
    """

    settings: Settings
    streets: Streets
    lots: Lots
    ground: Ground
    laterals: pd.DataFrame
    points: pd.DataFrame
    defects: pd.DataFrame
    runs: pd.DataFrame
    observations: pd.DataFrame
    states: pd.DataFrame
    works: pd.DataFrame
    outcomes: pd.DataFrame
    warranties: pd.DataFrame
    falls: pd.DataFrame


def make_town(seed: int = SEED, laterals: int | None = None, settings: Settings = DEMO) -> Town:
    """A town from a seed. ``laterals`` replaces the setting's count; other figures by ``dataclasses.replace(HARD, …)``.

    The same seed and settings give the same town. 2,000 laterals take a few seconds.
    """
    settings = settings if laterals is None else replace(settings, laterals=laterals)
    chances = [np.random.default_rng(child) for child in np.random.SeedSequence(seed).spawn(12)]
    streets, lots = streets_and_lots(settings.laterals, chances[0])
    ground = ground_of(streets, lots, settings, chances[1])
    laid = laid_on(settings.laterals, chances[2])
    points = known_points(ground, settings, chances[3])
    defects = defects_of(ground, laid, settings, chances[4])
    runs, rounds = _years(defects, points, laid, ground, settings, chances[5])
    seen = pd.concat([one.sightings for one in rounds], ignore_index=True)
    features = features_of(runs, points, ground, private_material(laid.material), settings, chances[6])
    observations = _observed(runs, seen, features, ground, settings, chances[7])
    table = _lateral_table(streets, lots, laid, ground)
    works, outcomes = _works(rounds, chances[7])
    warranties = warranties_of(table, works, CREWS, chances[7])
    states = pd.concat([one.states for one in rounds], ignore_index=True)
    observations, defects, states = with_bores(observations, defects, states, works, runs, ground, settings, chances[8])
    observations["picture"] = picture_names(observations, runs, settings.pictures, chances[9])
    return Town(
        settings=settings,
        streets=streets,
        lots=lots,
        ground=ground,
        laterals=table,
        points=points,
        defects=defects,
        runs=runs,
        observations=_named_truth(observations, runs, defects),
        states=_state_table(states, runs, defects),
        works=works,
        outcomes=_outcome_table(outcomes, works, defects),
        warranties=with_terms(warranties, works, runs, chances[10]),
        falls=falls_of(lots, ground, chances[11]),
    )


def _years(
    defects: pd.DataFrame, points: pd.DataFrame, laid: Laid, ground: Ground, settings: Settings, rng: np.random.Generator
) -> tuple[pd.DataFrame, list[Round]]:
    """Round of runs after round of runs, until nobody looks any more. Runs are numbered by row, in rounds."""
    count = settings.laterals
    lives, launches = Lives(defects), launches_of(points, count)
    spread = rng.choice([-1, 0, 1], count, p=[0.25, 0.5, 0.25])
    left = np.maximum(np.round(settings.runs_per_lateral + spread + rng.uniform(-0.5, 0.5, count)), 1.0)
    nothing = np.full(count, np.datetime64("NaT", "s"))
    history = pd.DataFrame({"runs_left": left, "ran_on": nothing, "worked_on": nothing})
    runs, rounds, known = [], [], 0
    for number in range(int(left.max())):
        made = round_of_runs(number, history, laid, ground, launches, settings, rng)
        made["run"] = known + np.arange(len(made))
        history.loc[~history.index.isin(made["lateral"]), "runs_left"] = 0
        rounds.append(live_through(lives, made, count, settings, rng))
        runs.append(made)
        known += len(made)
        history.loc[made["lateral"], "ran_on"] = made["ran_on"].to_numpy()
        history["worked_on"] = nothing
        history.loc[rounds[-1].works["lateral"], "worked_on"] = rounds[-1].works["done_on"].to_numpy()
    table = pd.concat(runs, ignore_index=True)
    return _in_order_of_time(table, rounds), rounds


def _in_order_of_time(runs: pd.DataFrame, rounds: list[Round]) -> pd.DataFrame:
    """Runs by day, with the names that crews give them; the rounds' row numbers follow."""
    order = np.lexsort([runs["lateral"], runs["ran_on"]])
    new_row = np.empty(len(runs), dtype=np.int64)
    new_row[order] = np.arange(len(runs))
    for one in rounds:
        one.sightings["run"] = new_row[one.sightings["run"].to_numpy(np.int64)]
        one.states["run"] = new_row[one.states["run"].to_numpy(np.int64)]
    runs = runs.iloc[order].reset_index(drop=True).assign(run=np.arange(len(runs)))
    runs["name"] = run_names(runs)
    runs["crew_name"] = runs["crew"].map(dict(enumerate(CREWS)))
    runs["unit"] = runs["crew"].map(dict(enumerate(UNITS)))
    return runs


def _observed(
    runs: pd.DataFrame, seen: pd.DataFrame, features: pd.DataFrame, ground: Ground, settings: Settings, rng: np.random.Generator
) -> pd.DataFrame:
    """All observations, with readings, in the order in which each run met them; what would read the same twice is noted once."""
    features = features.assign(true_kind=features["kind"])
    columns = [*seen.columns.union(features.columns, sort=False)]
    table = pd.concat([part.reindex(columns=columns).astype(object) for part in (seen, features)], ignore_index=True)
    table = table.infer_objects().astype({"run": "int64", "lateral": "int64"})
    read_counters(runs, table, settings, rng)
    xy = ground.true.point_at(table["lateral"].to_numpy(), table["true_measure_m"].to_numpy(float))
    table["true_x"], table["true_y"] = xy[:, 0], xy[:, 1]
    located = rng.random(len(table)) < settings.located
    told = np.where(located[:, None], np.round(xy + rng.normal(0.0, LOCATED_SD_M, xy.shape), 2), np.nan)
    table["located_x"], table["located_y"] = told[:, 0], told[:, 1]
    percent = np.clip(table["grade"].to_numpy(float) * PERCENT_A_GRADE + rng.integers(-2, 3, len(table)) * 5.0, 5.0, 95.0)
    table["percent"] = np.where(table["kind"].isin(PERCENT), percent, np.nan)
    table["remark"] = remarks(len(table), rng)
    table = table.sort_values(["run", "reading_m", "kind", "true_measure_m"], kind="stable")
    return table.drop_duplicates(["run", "reading_m", "kind"], ignore_index=True)


def _named_truth(observations: pd.DataFrame, runs: pd.DataFrame, defects: pd.DataFrame) -> pd.DataFrame:
    row = observations["run"].to_numpy()
    crew = runs["crew"].to_numpy()[row]
    for column, name in (("reading_m", "reading"), ("to_reading_m", "to_reading")):
        observations[name] = as_written(observations[column].to_numpy(float), crew)
    for column, name in (("launch_reading_m", "launch_reading"), ("lead_in_m", "lead_in"), ("end_reading_m", "end_reading")):
        runs[name] = as_written(runs[column].to_numpy(float), runs["crew"].to_numpy())
    defect = observations["defect"].astype(float)
    known = defect.notna()
    observations["truth_id"] = None
    observations.loc[known, "truth_id"] = defects["truth_id"].to_numpy(object)[defect[known].astype("int64")]
    observations["run_name"], observations["crew"] = runs["name"].to_numpy(object)[row], crew
    return observations


def _state_table(states: pd.DataFrame, runs: pd.DataFrame, defects: pd.DataFrame) -> pd.DataFrame:
    states = states.sort_values(["defect", "run"], ignore_index=True)
    states["truth_id"] = defects["truth_id"].to_numpy(object)[states["defect"].to_numpy()]
    states["run_name"] = runs["name"].to_numpy(object)[states["run"].to_numpy()]
    return states


def _works(rounds: list[Round], rng: np.random.Generator) -> tuple[pd.DataFrame, pd.DataFrame]:
    """All works by day, named, and their outcomes with the row of their work."""
    base = np.cumsum([0, *(len(one.works) for one in rounds)])
    works = pd.concat([one.works for one in rounds], ignore_index=True)
    outcomes = pd.concat([one.outcomes.assign(work=one.outcomes["work"] + base[at]) for at, one in enumerate(rounds)])
    order: NDArray[np.int64] = np.lexsort([works["lateral"], works["done_on"]])
    new_row = np.empty(len(works), dtype=np.int64)
    new_row[order] = np.arange(len(works))
    works = works.iloc[order].reset_index(drop=True)
    works["name"] = [f"W-{number}" for number in range(501, 501 + len(works))]
    works["by"] = rng.choice(CREWS, len(works))
    return works, outcomes.assign(work=new_row[outcomes["work"].to_numpy(np.int64)])


def _outcome_table(outcomes: pd.DataFrame, works: pd.DataFrame, defects: pd.DataFrame) -> pd.DataFrame:
    return outcomes.assign(
        work_name=works["name"].to_numpy(object)[outcomes["work"].to_numpy(np.int64)],
        truth_id=defects["truth_id"].to_numpy(object)[outcomes["defect"].to_numpy(np.int64)],
    ).sort_values(["work", "defect"], ignore_index=True)


def _lateral_table(streets: Streets, lots: Lots, laid: Laid, ground: Ground) -> pd.DataFrame:
    """Names and particulars of each lateral. A tenth do not say whose property they serve: their building does."""
    count = len(lots.street)
    number = np.arange(1, count + 1)
    street = streets.name[lots.street]
    width = max(4, len(str(count)))
    return pd.DataFrame(
        {
            "lateral": [f"L-{one:0{width}d}" for one in number],
            "property": [f"P-{one:0{width}d}" for one in number],
            "says_property": number % 10 != 0,
            "street": street,
            "address": lots.number.astype(str).astype(object) + " " + street,
            "installed_on": laid.installed_on.astype("datetime64[s]"),
            "new": laid.new,
            "material": laid.material,
            "diameter": laid.diameter,
            "map_accuracy_m": ground.map_accuracy_m,
        }
    )
