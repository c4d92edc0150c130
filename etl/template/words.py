"""What each column of the workbook is told to be: one plain sentence a field, with its unit."""

from etl.catalogue import FIELDS, Field

SHEETS = ("laterals", "referents", "runs", "observations", "legs", "located", "works", "warranties")
"""The sections that have a sheet, in the order of the sheets; each sheet bears its section's name."""

NOT_LOADED = ("read me", "examples", "lists")
"""Sheets of the workbook that hold no rows."""

ABOUT = {
    "laterals": "Laterals that no map has: one row each. Leave this sheet empty where your laterals come from a map.",
    "referents": "Known points of a lateral: clean-outs, bends, the property line. One row each.",
    "runs": "One row for each push of the camera.",
    "observations": "One row for each thing seen, at what the counter showed. A note may stand instead of the cells.",
    "legs": "A lateral walked by its bends: one row at each bend, and one at the end.",
    "located": "Points at which the head was located from above, with map coordinates.",
    "works": "One row for each work done to a lateral.",
    "warranties": "One row for each warranty.",
}

BY_READER = {
    "length": "A length in metres, or with its unit: 2.4, 8 ft, 7' 6\"",
    "level": "An elevation in metres, or with its unit; it may be negative",
    "diameter": "The inside diameter with its unit: 100 mm, 4 in",
    "counter": "What the counter showed, in the unit of the run: 31.5, or 44' 6\"",
    "day": "A day: 2024-05-31",
    "clock": "Clock position, 1 to 12, as the camera looks; 12 is the crown. 3:30 is half past three",
    "percent": "Percent of the bore, 0 to 100",
    "grade": "Your own grade, 1 (slight) to 5 (failed)",
    "number": "A number",
    "whole": "A whole number of days",
    "unit": "The unit of the counter: ft or m",
    "kind": "What was seen; pick a word, or type one of your own that SOURCES.toml explains",
    "kinds": "Which kinds, separated by commas; empty: all defects",
    "term": "How long: P1Y is one year, P18M 18 months, P90D 90 days",
    "notice": "The last day to tell whoever answers, or P30D after end, P10D after seen; empty: the last day of the term",
    "crs": "The coordinate system as EPSG:26910; empty: the map's",
    "direction": "Which way the camera went; needed unless it was launched at the building or the tie-in",
    "reason": "Why the run was made",
    "work": "What was done",
    "referent": "What the point is",
    "hand": "To which side it bends, as one walks on: left or right",
}

BY_FIELD = {
    "lateral": "The lateral's name, as on the map; in other sheets an address may stand instead",
    "address": "House number, with the street where several laterals have it: 14 Alder Street",
    "street": "The street's name",
    "property": "The name of the property it serves",
    "main": "The name of the public main that it joins",
    "tie_in_distance": "How far along the main the lateral joins it, from the end that tie in from says: metres, or with a unit",
    "tie_in_from": "From which end of the main, as it is drawn, that distance counts: start or end",
    "material": "What the pipe is made of",
    "map_accuracy": "How far a drawn point may be from the ground (one sigma, metres); empty: 0.3 is assumed",
    "name": "The point's name: CO-1. Tie-in, property line and building need no row of their own",
    "measure": "Distance along the lateral from the tie-in; metres, or with a unit. Or give x and y",
    "sigma": "How well it is known (one sigma, metres, or with a unit)",
    "x": "Map coordinate east, in the map's system",
    "y": "Map coordinate north, in the map's system",
    "run": "The run's name: any name that no other run has",
    "launch": "Where the camera went in: building, tie-in, or a known point's name; empty: building",
    "launch_measure": "Where it went in, as a distance from the tie-in, where no known point is there",
    "launch_reading": "What the counter showed there, in the run's unit; empty: 0",
    "end_reading": "What the counter showed where the push ended, in the run's unit",
    "lead_in": "Cable in a riser before the line begins, in the run's unit; empty: none",
    "crew": "Who ran the camera",
    "remark": "Whatever else should be known",
    "film": "The film's file name",
    "reading": "What the counter showed, in the run's unit: 31.5, or 44' 6\"",
    "to_reading": "For something that runs along the line: the reading where it ends",
    "clock_to": "For an arc: the clock position where it ends, clockwise",
    "material_after": "At a material change: what the pipe goes on in",
    "located_x": "Map coordinate east of the head, where it was located from above",
    "located_y": "Map coordinate north of the head, where it was located from above",
    "located_crs": "The system of those coordinates as EPSG:26910; empty: the map's",
    "depth": "Depth of the pipe below ground there; metres, or with a unit",
    "picture": "The picture's file name",
    "film_time": "Where in the film: 00:12:30",
    "note": "One thing seen as you would write it, instead of the cells: 31.5 roots 30% at joint, 4 o'clock",
    "angle": "The bend's angle in degrees: 90, 45, 22.5",
    "bearing": "Degrees clockwise from map north, of the pipe that goes on from here",
    "work": "The work's name: any name that no other work has",
    "from_measure": "Where it begins, as a distance from the tie-in; metres, or with a unit; empty: the whole line",
    "to_measure": "Where it ends, as a distance from the tie-in",
    "by": "Who did it: a crew or a firm",
    "warranty": "The warranty's name: any name that no other has",
    "check_lead": "In how many days before its end the check with a camera is to be made; empty: 60",
    "cure": "How many days there are to put a defect right; empty: 10",
    "answerable": "Who answers for it",
    "start_event": "What its first day is the day of: final inspection, acceptance, work done",
}

OF_SECTION = {
    ("observations", "referent"): "The known point that the camera passed here: it ties the reading to the map",
    ("observations", "run"): "The run's name, as on the sheet runs",
    ("located", "run"): "The run whose counter showed the reading; empty: it counts from the tie-in",
    ("located", "reading"): "What the counter showed there, in the unit of its run",
    ("legs", "reading"): "Length along the pipe up to this bend, or to the end; in the unit said here",
    ("legs", "launch"): "Where readings count from: tie-in or building; empty: tie-in",
    ("located", "crs"): "The coordinate system of x and y as EPSG:26910; empty: the map's",
    ("works", "lateral"): "The lateral's name, or give its address",
    ("warranties", "work"): "The name of the work that it is for, as on the sheet works",
}

READ_ME = (
    "How to fill this workbook",
    "Each sheet holds one sort of rows. The first row of a sheet names the columns: leave it as it is.",
    "Columns with a dark heading are needed; the others may stay empty. Rest the mouse on a heading to read what goes there.",
    "Type from row 2 on, one row for each thing. Blank rows do no harm.",
    "Write readings as the counter showed them. Do not convert them; say feet or metres on the sheet runs, under unit.",
    "Cells with an arrow offer words to pick. Another word can be typed where SOURCES.toml says what it means.",
    "The sheet examples shows filled rows. It is never loaded.",
    "Add no columns and rename none: what stands there is not loaded, and the program tells you so.",
    "In a hurry, write one thing seen as a note on the sheet observations, beside its run: 31.5 roots 30% at joint, 4 o'clock",
    "What is sure is read out of the note; what is not stays a remark, and is listed.",
    "Save, then:  sewermap load SOURCES.toml --check   tells what would be loaded and what is wrong, by sheet and cell.",
    "Then:  sewermap load SOURCES.toml",
    "Loading again changes nothing, so load as often as you like.",
    "Places on the map are no utility locate: before anybody digs, have utilities located and follow the local code.",
)
"""The sheet "read me", a line a row."""


def hint(section: str, field: Field) -> str:
    """What goes into a column, in one sentence.

    >>> hint("runs", Field("unit", "unit"))
    'The unit of the counter: ft or m'
    """
    own = OF_SECTION.get((section, field.name))
    if own is None and field.reader in {"text", "length", "counter", "number", "clock", "whole"}:
        own = BY_FIELD.get(field.name)
    return own or BY_READER.get(field.reader) or BY_FIELD.get(field.name) or field.name.replace("_", " ").capitalize()


def columns(section: str) -> tuple[Field, ...]:
    """The fields of a sheet in the order of its columns: as the catalogue has them, but a note stands at the front.

    >>> [field.name for field in columns("observations")][:4]
    ['run', 'note', 'reading', 'to_reading']
    """
    front, note = ([one for one in FIELDS[section] if (one.name == "note") is is_note] for is_note in (False, True))
    return (front[0], *note, *front[1:])


def heading(field: Field) -> str:
    """A column's heading: the field's name with blanks, as ``load`` takes it without a mapping.

    >>> heading(Field("ran_on", "day"))
    'ran on'
    """
    return field.name.replace("_", " ")
