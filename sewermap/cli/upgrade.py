"""``sewermap upgrade``: an older database to this version's schema."""

from __future__ import annotations

import click

from sewermap.cli.options import Common, command_with_common
from sewermap.cli.output import say


@click.command("upgrade")
@command_with_common
def command(common: Common) -> None:
    """Bring a database that an older version made to this version's schema, whole or not at all."""
    from sewermap.store.migrations import upgrade  # noqa: PLC0415 - heavy

    done = upgrade(common.db)
    if not done.steps:
        say(f"{common.db} is up to date (schema {done.after})")
        return
    say("building the computed tables again …")
    common.book(read_only=False).recompute()
    say(f"{common.db} is now at schema {done.after}: {'; '.join(done.steps)}")
    if done.copy:
        say(f"how it was before is kept in {done.copy}")
