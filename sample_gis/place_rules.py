"""The town's own rule files: what [rules] of its SOURCES.toml names."""

WARRANTIES = """\
# What this town agreed with those who work on its laterals. A work of these kinds opens a warranty of its own where the office
# recorded none.
check_share = 0.9
acceptance_days = 30

[works."spot repair"]
term = "P1Y"
check_lead = 45
cure = 21
notice_by = "P30D after end"

[works.relining]
term = "P2Y"
check_lead = 60
cure = 30
kinds = ["roots", "deformation", "infiltration"]
"""

BOUNDARY = """\
# Here owners laid clay, iron or ABS, and the town PVC: where the pipe changes is the property line, and what lies on
# the building's side of it is the owner's.
material_change_at_property_line = true
private_ends = "property line"
"""

FALL = """\
# Slopes and clean-outs are judged by these tables; the town's own code and its inspector decide.
slopes = "IPC 704.1"
clean_outs = "UPC 719.1"
"""

RULE_FILES = {
    "boundary": ("rules/boundary.toml", BOUNDARY),
    "warranties": ("rules/warranties.toml", WARRANTIES),
    "fall": ("rules/fall.toml", FALL),
}
"""By the name of the rule: the file's path in the town's folder and its text."""
