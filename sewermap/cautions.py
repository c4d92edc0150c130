"""What must be said wherever work can hurt someone.

Usual cautions (common practice, no source): the local code, the authority and licensed practice decide.
"""

CROSS_BORE = "cross-bore"
"""The kind of defect that may be a gas pipe."""

STOP = "STOP at a suspected cross-bore: no cutting, no jetting, call the gas utility."

DRAFT = (
    "This is a draft made from recorded facts. It is no legal advice: have it read by whoever answers for it before it is sent."
)

DIG = (
    "This is not a utility locate. Before anybody digs, call the one-call centre and have all utilities located.",
    "One place in twenty lies outside the stretch that is shown, and outside the tolerance across it.",
    "Parcels on a map are no legal survey: whose ground it is, a surveyor says.",
    "Dig by hand or by vacuum inside the tolerance zone beside each locate mark; how wide that is, local law says.",
    "Protect the trench from caving in as the local rule asks: it says from which depth, and in which soil.",
    "A gas pipe may run through a sewer (cross-bore). Where one is suspected: no cutting, no jetting, call the gas utility.",
    "Sewer gas can suffocate and explode: test the air, keep flames away, never enter alone.",
    "Sewage carries disease: gloves, eye protection, clean water, no food at the hole.",
    "Local code, the permit and licensed practice rule over all that stands here.",
)
"""What a crew that opens the ground must have read."""
