"""``sewermap where``: a reading on the map."""

from __future__ import annotations

from typing import Any

import click

from sewermap.cli.options import Common, command_with_common
from sewermap.cli.output import as_json, emit_text

CAUTION = (
    "This is no utility locate. One place in twenty lies outside its circle. Have utilities located before anybody digs;\n"
    "local code and licensed practice rule."
)


@click.command("where")
@click.argument("lateral")
@click.argument("reading")
@click.option("--run", required=True, help="The run whose counter showed the reading.")
@command_with_common
def command(common: Common, lateral: str, reading: str, run: str) -> None:
    """Say where on the ground a counter READING of a run on a LATERAL is.

    LATERAL is its name, or an address only one lateral has. READING is in the run's unit unless it carries one: 44.5, 44' 6",
    13.57 m.
    """
    answer = common.book().where(lateral, reading, run)
    if common.format == "json":
        emit_text(common, as_json(answer))
    elif common.format == "geojson":
        emit_text(common, as_json(_feature(answer)))
    elif common.format == "csv":
        import pandas as pd  # noqa: PLC0415 - heavy

        from sewermap.plain import csv_text  # noqa: PLC0415

        row = {name: value for name, value in answer.items() if name != "nearest"}
        emit_text(common, csv_text(pd.DataFrame([row])))
    else:
        emit_text(common, _told(answer))


def _feature(answer: dict[str, Any]) -> dict[str, Any]:
    """A GeoJSON feature (RFC 7946), without a geometry where the reading could not be placed."""
    placed = answer["lon"] is not None
    geometry = {"type": "Point", "coordinates": [round(answer["lon"], 8), round(answer["lat"], 8)]} if placed else None
    return {"type": "Feature", "geometry": geometry, "properties": answer}


def _told(answer: dict[str, Any]) -> str:
    from sewermap.units import feet_and_inches  # noqa: PLC0415

    lines = [f"{answer['reading']} ({answer['unit']}) of run {answer['run']} on lateral {answer['lateral']}"]
    stop = [answer["caution"]] if answer["caution"] else []
    if answer["measure_m"] is None:
        return "\n".join([*lines, f"not placed: {answer['reason']}", *stop])
    measure, within = answer["measure_m"], answer["within_m"]
    lines += [
        f"measure    {measure:.2f} m ({feet_and_inches(measure)}) from the tie-in, ± {answer['sigma_m']:.2f} m (one sigma)",
        f"place      {answer['x']:.2f}, {answer['y']:.2f} in {answer['crs']}; {answer['lon']:.7f}, {answer['lat']:.7f} lon, lat",
        f"within     {within:.2f} m ({feet_and_inches(within)}) in 19 cases of 20",
        f"side       {answer['side'] or 'unknown: no property line is known here'}"
        + (f" (private with probability {answer['side_probability']:.2f})" if answer["side"] else ""),
        *([f"           {answer['property_line_note']}"] if answer["property_line_note"] else []),
    ]
    lines += [
        f"near       {point['name']} at {point['measure_m']:.2f} m, {point['away_m']:.2f} m away" for point in answer["nearest"]
    ]
    if answer["reason"]:
        lines.append(f"note       {answer['reason']}")
    if answer["accuracy_assumed"]:
        lines.append("note       ACCURACY ASSUMED: nobody said how well this line was drawn")
    return "\n".join([*lines, *stop, "", CAUTION])
