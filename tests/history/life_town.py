"""A sample town as the history sees it when every sighting is joined to its true defect, and what must come out of it."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from sample_gis import Settings, Town, frames, make_town
from sewermap.history.kinds import vocabulary
from sewermap.line.known_points import Ground
from sewermap.line.place_rules import rules_from_texts
from sewermap.line.places import place
from sewermap.line.scene import scene_of, with_push

CLASS_OF = {"new": "still there", "same": "still there", "worse": "still there", "better": "still there"}
"""Classes that the truth table can tell apart; the other states are classes of their own."""


@dataclass(frozen=True)
class TownLives:
    """The frames that ``lives`` takes, and the class that each issue must end in (``expected``, in the order of issues)."""

    town: Town
    issues: pd.DataFrame
    sightings: pd.DataFrame
    coverages: pd.DataFrame
    looks: pd.DataFrame
    works: pd.DataFrame
    expected: pd.Series

    @property
    def given(self) -> tuple[pd.DataFrame, ...]:
        """In the order of ``lives``'s arguments."""
        return self.issues, self.sightings, self.coverages, self.looks, self.works


def town_lives(seed: int, laterals: int, settings: Settings) -> TownLives:
    """A town, a third of whose works fail, placed run by run as the program places it, with true clusters."""
    town = make_town(seed, laterals, replace(settings, work_fails=1 / 3))
    tables = frames(town)
    seen, coverages = _placed(tables)
    seen["issue"] = town.observations["truth_id"].to_numpy(object)
    seen["true_state"] = town.observations["true_state"].to_numpy(object)
    sightings = seen.dropna(subset="issue").rename(columns={"percent": "size"})
    looks = seen[np.isin(seen["kind"], [name for name, role in vocabulary().roles.items() if role == "look"])]
    issues = _issues(town, sightings)
    return TownLives(town, issues, sightings, coverages, looks, tables["works"], expected_classes(town, issues["issue"]))


def _placed(tables: dict[str, pd.DataFrame]) -> tuple[pd.DataFrame, pd.DataFrame]:
    ground = Ground(tables["parcels"], tables["buildings"], tables["referents"])
    scene = scene_of(rules_from_texts({}), tables["lateral_lines"], ground, tables["runs"], metres_per_unit=1.0)
    seen = with_push(tables["observations"], scene)
    seen = seen.assign(located_map_x=seen["located_x"], located_map_y=seen["located_y"])
    places = place(seen, scene.pushes, scene.laterals, scene.points, scene.rules.counter)
    for name in ("measure_m", "sigma_m", "to_measure_m"):
        seen[name] = places.observations[name].to_numpy()
    coverages = places.coverages.assign(**{name: scene.runs[name].to_numpy() for name in ("run", "lateral", "ran_on", "reason")})
    return seen, coverages


def _issues(town: Town, sightings: pd.DataFrame) -> pd.DataFrame:
    """One issue a defect that anybody saw: the mean of its sightings' measures, and the kind it was called most."""
    ends = np.sort(sightings[["measure_m", "to_measure_m"]].to_numpy(float), axis=1)  # NaN goes last
    rows = sightings.assign(low=ends[:, 0], high=ends[:, 1])
    groups = rows.groupby("issue")
    lateral = town.laterals["lateral"].to_numpy(object)[town.defects.set_index("truth_id")["lateral"]]
    return pd.DataFrame(
        {
            "issue": list(groups.groups),
            "lateral": pd.Series(lateral, index=town.defects["truth_id"])[list(groups.groups)].to_numpy(),
            "kind": groups["kind"].agg(lambda kinds: kinds.mode().iloc[0]).to_numpy(),
            "measure_m": groups["low"].mean().to_numpy(),
            "to_measure_m": groups["high"].mean().to_numpy(),
            "sigma_m": (groups["sigma_m"].mean() / np.sqrt(groups.size())).to_numpy(),
        }
    )


def expected_classes(town: Town, issues: pd.Series) -> pd.Series:
    """The class each issue must end in, from the town's truth alone.

    The last run that truly covered the defect decides, by the truth table's own state: seen, it is ``still there`` (new, same
    or worse) or ``returned``; not there, it is ``mended``. The truth table keeps the true state of a defect that was there and
    overlooked, which no history can know: that one must be ``mended`` where a work was done on it since it was last seen,
    ``returned`` where it had come back before, else ``not seen``. A work on it after its last sighting, and no covering run
    since: ``not looked``. Runs and works before the first sighting say nothing.
    """
    noted = set(zip(town.observations["run_name"], town.observations["truth_id"], strict=True))
    states = town.states.assign(day=town.runs["ran_on"].to_numpy()[town.states["run"]])
    # A sighting at the reading and kind of another one was not written down.
    states["seen"] = [pair in noted for pair in zip(states["run_name"], states["truth_id"], strict=True)]
    seen_on = states[states["seen"]].groupby("truth_id")["day"]
    first, last = seen_on.min(), seen_on.max()
    work_on = town.works["done_on"].to_numpy()[town.outcomes["work"]]
    works = town.outcomes.assign(day=work_on)[["truth_id", "day"]]
    works = works[works["day"] >= works["truth_id"].map(first)]
    after = works[works["day"] >= works["truth_id"].map(last)].groupby("truth_id")["day"]
    looks = states[states["covered"] & (states["day"] >= states["truth_id"].map(first))].sort_values(["truth_id", "day"])
    end = looks.drop_duplicates("truth_id", keep="last").set_index("truth_id").reindex(issues)
    worked_since, first_work = issues.isin(after.groups).to_numpy(), issues.map(after.min()).to_numpy()
    was_back = issues.isin(looks.loc[looks["seen"] & (looks["true_state"] == "returned"), "truth_id"]).to_numpy()
    classes = np.select(
        [
            worked_since & (end["day"].to_numpy() <= first_work),
            end["seen"].to_numpy(bool),
            worked_since,
            was_back,
        ],
        ["not looked", end["true_state"].replace(CLASS_OF).to_numpy(object), "mended", "returned"],
        "not seen",
    )
    return pd.Series(classes, index=issues.index)
