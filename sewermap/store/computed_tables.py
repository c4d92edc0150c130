"""Computed tables: what can be dropped and built again, out of the recorded ones, to the same rows."""

import sqlalchemy as sa

from sewermap.store.geometry import Geometry
from sewermap.store.schema import day, key, lateral_columns, metadata, needed, number, text, whole

laterals = sa.Table(
    "laterals",
    metadata,
    key(),
    *lateral_columns(),
    number("length_m"),
    sa.Column("accuracy_assumed", sa.Boolean),
    number("property_line_m"),
    number("property_line_sigma_m"),
    number("property_line_fix_m"),
    number("property_line_fix_sigma_m"),
    text("property_line_from"),
    text("property_line_note"),
    number("private_ends_m"),
    number("private_ends_sigma_m"),
    text("private_ends_at"),
    text("accuracy_along"),
    text("line_note"),
    sa.Column("geometry", Geometry("LINESTRING")),
)
"""Computed: the current version of each lateral as a layer ready for a GIS program, with the measure of its property line
and what that was taken from, and where private ends by the place's rule. ``map_accuracy_m`` is filled with the common one where
none was given (``accuracy_assumed``)."""

sketches = sa.Table(
    "sketches",
    metadata,
    key(),
    needed("lateral"),
    text("method"),
    sa.Column("taken", sa.Boolean),
    number("length_m"),
    number("sigma_m"),
    text("starts_at"),
    number("first_bearing"),
    text("first_bearing_from"),
    text("closed_on"),
    number("misclosure_m"),
    number("misclosure_share"),
    text("accuracy_along"),
    text("reason"),
    sa.Column("geometry", Geometry("LINESTRING")),
)
"""Computed: lines that no map drew, made of legs, of located points, or guessed; of a lateral without a drawn line the one that
is ``taken``. ``sigma_m`` is the greatest along the line, ``accuracy_along`` one sigma an axis at each vertex. No geometry, and a
``reason``, where one was refused."""

placed_observations = sa.Table(
    "placed_observations",
    metadata,
    key(),
    text("observation"),
    text("run"),
    day("ran_on"),
    text("lateral"),
    text("property"),
    text("street"),
    text("address"),
    text("reading"),
    text("unit"),
    text("to_reading"),
    text("kind"),
    text("role"),
    number("measure_m"),
    number("sigma_m"),
    number("to_measure_m"),
    number("within_m"),
    number("x"),
    number("y"),
    text("side"),
    number("side_probability"),
    number("side_sigma_m"),
    whole("grade"),
    number("percent"),
    number("clock_from"),
    number("clock_to"),
    text("issue"),
    text("reason"),
    sa.Column("accuracy_assumed", sa.Boolean),
    text("remark"),
    text("picture"),
    text("source_file"),
    whole("source_row"),
    sa.Column("geometry", Geometry("POINT")),
)
"""Computed: one row for each current observation. No geometry, and a reason, where it could not be placed."""

run_coverages = sa.Table(
    "run_coverages",
    metadata,
    key(),
    text("run"),
    text("lateral"),
    day("ran_on"),
    number("from_measure_m"),
    number("to_measure_m"),
    whole("fixes"),
    whole("set_aside"),
    text("notes"),
)
"""Computed: the stretch of measures that each run passed, and what its fixes said of it."""

issues = sa.Table(
    "issues",
    metadata,
    key(),
    needed("issue"),
    text("lateral"),
    text("property"),
    text("street"),
    text("address"),
    text("kind"),
    whole("grade"),
    whole("crew_grade"),
    whole("own_grade"),
    text("grade_why"),
    number("measure_m"),
    number("sigma_m"),
    number("to_measure_m"),
    number("within_m"),
    number("x"),
    number("y"),
    text("side"),
    number("side_probability"),
    text("state"),
    day("first_seen"),
    day("last_seen"),
    whole("times_seen"),
    number("percent"),
    sa.Column("is_repeat", sa.Boolean),
    text("mending_work"),
    text("after_work"),
    text("after_work_kind"),
    whole("days_after_work"),
    number("growth_low"),
    number("growth_high"),
    sa.Column("accuracy_assumed", sa.Boolean),
    sa.Column("geometry", Geometry("POINT")),
)
"""Computed: one defect of one lateral, followed through all runs that saw it. ``growth_low`` to ``growth_high`` is the 90 %
range of how much of the bore it grows by in a year, where three sightings or more tell it."""

issue_sightings = sa.Table(
    "issue_sightings",
    metadata,
    key(),
    needed("issue"),
    text("lateral"),
    text("run"),
    day("ran_on"),
    text("observation"),
    text("kind"),
    number("measure_m"),
    number("sigma_m"),
    whole("grade"),
    whole("crew_grade"),
    whole("own_grade"),
    text("grade_why"),
    number("percent"),
    number("cost"),
    text("runner_up"),
    number("runner_up_cost"),
    text("by_hand"),
)
"""Computed: each observation of each issue, with what the match cost and what the next best issue would have cost (minus the
logarithm of the likelihood), or the person's word that put it there."""

lateral_states = sa.Table(
    "lateral_states",
    metadata,
    key(),
    needed("lateral"),
    text("property"),
    text("street"),
    text("address"),
    whole("grade"),
    text("grade_why"),
    whole("issues"),
    whole("repeats"),
    whole("runs"),
    day("last_run_on"),
    number("length_m"),
    number("scoped_m"),
    sa.Column("geometry", Geometry("LINESTRING")),
)
"""Computed: each lateral with the grade that its open issues give it, and how much of it was ever looked at."""

counter_settings = sa.Table("counter_settings", metadata, key(), needed("name"), number("value"), text("origin"))
"""Computed: the figures of the counter model in force (launch, scale, slip) and where they come from."""
