"""The workbook that is handed to crews, and the SOURCES.toml that reads it."""

from pathlib import Path

from etl.template.sheets import workbook
from etl.template.words import ABOUT, SHEETS
from sewermap.errors import SourceError
from sewermap.history.kinds import vocabulary

__all__ = ["write_template"]

PLAN = "SOURCES.toml"
LONLAT = '# crs = "EPSG:4326"  # where x and y are longitude and latitude, as a phone tells them'


def write_template(out: Path) -> tuple[Path, Path]:
    """Write an empty workbook, and beside it the SOURCES.toml that loads it; gives both paths.

    Raises SourceError for a name that does not end in .xlsx, for a workbook that is there already (somebody may have filled
    it), and for a SOURCES.toml there that says something else.
    """
    if out.suffix.casefold() != ".xlsx":
        raise SourceError(f"{out.name} must end in .xlsx")
    plan = out.with_name(PLAN)
    text = plan_text(out.name)
    if out.exists():
        raise SourceError(f"{out} is there already, and somebody may have filled it; give another name")
    if plan.exists() and plan.read_bytes() != text.encode():
        raise SourceError(f"{plan} is there already and says something else; put the workbook into a folder of its own")
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        workbook(vocabulary()).save(out)
        plan.write_bytes(text.encode())
    except OSError as error:
        raise SourceError(f"{out} cannot be written: {error.strerror}") from None
    return out, plan


def plan_text(name: str) -> str:
    """The SOURCES.toml that reads a workbook of this name.

    >>> plan_text("log.xlsx").count('from = "log.xlsx"')
    8
    """
    lines = [
        f"# Reads {name}, sheet by sheet; an empty sheet loads nothing. Paths are relative to this file.",
        '# Words of your own: [observations.values.kind], as in  "root wad" = "roots"',
    ]
    for section in SHEETS:
        lines += ["", f"[{section}]  # {ABOUT[section]}", f'from = "{_toml(name)}"', f'layer = "{section}"']
        lines += [LONLAT] if section == "referents" else []
    return "\n".join(lines) + "\n"


def _toml(name: str) -> str:
    return name.replace("\\", "\\\\").replace('"', '\\"')
