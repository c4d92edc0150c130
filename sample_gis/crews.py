"""The three crews' own shapes: how each names its columns and its words, and how it writes its files."""

from collections.abc import Mapping
from dataclasses import dataclass

RUN_FIELDS = (
    "run", "lateral", "ran_on", "launch", "direction", "launch_reading", "end_reading", "lead_in", "reason", "crew", "remark",
)  # fmt: skip
OBSERVATION_FIELDS = (
    "run", "reading", "to_reading", "kind", "clock_from", "percent", "grade", "material_after", "referent", "located_x",
    "located_y", "remark", "picture",
)  # fmt: skip


@dataclass(frozen=True)
class Crew:
    """One crew's shape. ``runs`` and ``observations`` give our field for each of its columns' order; words are ours to theirs."""

    folder: str
    suffix: str
    separator: str
    encoding: str
    day: str
    dates: str
    unit: str
    by_address: bool
    lonlat: bool
    runs: Mapping[str, str]
    observations: Mapping[str, str]
    kinds: Mapping[str, str]
    words: Mapping[str, Mapping[str, str]]


def _columns(fields: tuple[str, ...], names: str) -> dict[str, str]:
    return dict(zip(fields, names.split("|"), strict=True))


BRINDLEFOLD = Crew(
    folder="brindlefold",
    suffix="csv",
    separator=",",
    encoding="utf-8",
    day="%m/%d/%Y",
    dates="mdy",
    unit="ft",
    by_address=False,
    lonlat=False,
    runs=_columns(RUN_FIELDS, "Job|Line|Date|Put In At|Headed|Counter Start|Counter End|Riser|Why|Operator|Notes"),
    observations=_columns(
        OBSERVATION_FIELDS, "Job|Footage|Footage To|Seen|Clock|Pct|Grade|New Pipe|Known Point|Map X|Map Y|Notes|Photo"
    ),
    kinds={"clean-out": "cleanout", "tie-in": "tap at main", "roots": "Roots"},
    words={"launch": {"building": "house", "tie-in": "main"}, "reason": {"acceptance": "new line", "check": "one-year"}},
)
"""Commas, feet with a decimal, month first."""

BRUMELAINE = Crew(
    folder="brumelaine",
    suffix="csv",
    separator=";",
    encoding="cp1252",
    day="%d.%m.%Y",
    dates="dmy",
    unit="m",
    by_address=False,
    lonlat=False,
    runs=_columns(
        RUN_FIELDS,
        "Passage|Branchement|Jour|Départ|Sens|Compteur au départ|Compteur à l'arrivée|Regard vertical|Motif|Équipe|Remarque",
    ),
    observations=_columns(
        OBSERVATION_FIELDS, "Passage|Relevé|Jusqu'à|Constat|Heure|Pourcentage|Note|Matériau après|Repère|X|Y|Remarque|Photo"
    ),
    kinds={
        "roots": "racines",
        "crack": "fissure",
        "open crack": "fissure ouverte",
        "offset joint": "joint décalé",
        "open joint": "joint écarté",
        "shifted coupling": "manchon déplacé",
        "sag": "contre-pente",
        "standing water": "eau stagnante",
        "grease": "graisse",
        "deposits": "dépôts",
        "debris": "débris",
        "infiltration": "venue d'eau",
        "intruding connection": "piquage pénétrant",
        "deformation": "ovalisation",
        "cross-bore": "canalisation étrangère",
        "bend": "coude",
        "clean-out": "té de curage",
        "material change": "changement de matériau",
        "property line": "limite de propriété",
        "tie-in": "arrivée à la conduite",
        "building": "arrivée au bâtiment",
        "stopped short": "arrêté avant la fin",
        "could not pass": "passage impossible",
        "turned back": "demi-tour",
    },
    words={
        "launch": {"building": "bâtiment", "tie-in": "conduite"},
        "direction": {"to main": "vers la conduite", "to building": "vers le bâtiment"},
        "reason": {
            "acceptance": "réception",
            "check": "contrôle",
            "complaint": "plainte",
            "sale": "vente",
            "work": "après travaux",
            "other": "autre",
        },
        "referent": {"property line": "limite"},
    },
)
"""Semicolons, Windows-1252, metres with a decimal comma, day first with dots, words in French."""

FENNIMOLE = Crew(
    folder="fennimole",
    suffix="tsv",
    separator="\t",
    encoding="utf-8-sig",
    day="%Y-%m-%d",
    dates="ymd",
    unit="ft",
    by_address=True,
    lonlat=True,
    runs=_columns(
        RUN_FIELDS, "job no|house|day|went in at|which way|counter at start|counter at end|cable in riser|why|who|remark"
    ),
    observations=_columns(
        OBSERVATION_FIELDS, "job no|counter|till|what|o'clock|percent full|how bad|turns into|landmark|lon|lat|remark|snap"
    ),
    kinds={
        "roots": "root mass",
        "crack": "hairline",
        "open crack": "split",
        "offset joint": "step at joint",
        "open joint": "gap at joint",
        "shifted coupling": "slipped sleeve",
        "sag": "belly",
        "standing water": "pond",
        "grease": "fat",
        "deposits": "scale",
        "debris": "rubble",
        "infiltration": "weeping",
        "intruding connection": "stub poking in",
        "deformation": "squashed",
        "cross-bore": "somebody else's pipe through ours",
        "bend": "elbow",
        "clean-out": "access pipe",
        "material change": "pipe changes",
        "property line": "lot line",
        "tie-in": "street main",
        "building": "house wall",
        "stopped short": "ran out of push",
        "could not pass": "stuck",
        "turned back": "gave up",
    },
    words={
        "launch": {"building": "house wall", "tie-in": "street main"},
        "direction": {"to main": "down the line", "to building": "up the line"},
        "reason": {"acceptance": "hand-over", "check": "follow-up", "complaint": "called out", "work": "after the job"},
        "referent": {"property line": "lot line"},
    },
)
"""Tabs with a byte order mark, feet and inches, days as ISO 8601 has them, plain words of its own, houses for laterals."""

ALL = (BRINDLEFOLD, BRUMELAINE, FENNIMOLE)
