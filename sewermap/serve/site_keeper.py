"""Sites of the last versions of the data, each a folder: built anew when the data changes, one at a time, while the last one
is still shown.
"""

from __future__ import annotations

import gzip
import hashlib
import shutil
import tempfile
import threading
import time
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Collection

KEPT = 5
"""How many versions stay: a page that was opened before a load goes on reading the files of its own version."""

LOOK_EVERY_S = 1.0
"""How often the data's version is asked for, at most."""

RETRY_AFTER_S = 10.0
"""How long a build that failed, as while somebody loads, is left alone."""

_SHRINKS = frozenset((".html", ".js", ".css", ".md", ".txt"))


@dataclass
class Built:
    """One version's site: its folder and the names of its files; nothing else in the folder is ever shown."""

    version: str
    folder: Path
    names: frozenset[str]
    made_at: float = field(default_factory=time.time)
    _marks: dict[str, str] = field(default_factory=dict, repr=False)

    @cached_property
    def _packed(self) -> Path:
        return self.folder.with_name(f"{self.folder.name}.gz")

    def mark(self, name: str) -> str:
        """A short text that is another one when the file's content is: made once a file."""
        if name not in self._marks:
            self._marks[name] = hashlib.sha256((self.folder / name).read_bytes()).hexdigest()[:20]
        return self._marks[name]

    def packed(self, name: str) -> Path | None:
        """The file as gzip, made when it is first asked for; None where that would save nothing."""
        if Path(name).suffix not in _SHRINKS:
            return None
        packed = self._packed / self.mark(name)
        if not packed.exists():
            self._packed.mkdir(exist_ok=True)
            # Whoever asks at the same moment makes the same file: the last one moved in wins, and no half of one is seen.
            with tempfile.NamedTemporaryFile(dir=self._packed, delete=False) as part:
                part.write(gzip.compress((self.folder / name).read_bytes(), mtime=0))
            Path(part.name).replace(packed)
        return packed


class SiteKeeper:
    """Keeps the newest site ready. ``version`` tells the data's, ``build`` writes a site into a folder and tells its files,
    ``complain`` hears in one sentence why a later build failed. The first build happens here, and its errors are the caller's.
    """

    def __init__(
        self, version: Callable[[], str], build: Callable[[Path], Collection[Path]], complain: Callable[[str], None]
    ) -> None:
        self._version, self._build, self._complain = version, build, complain
        self._place = Path(tempfile.mkdtemp(prefix="sewermap-serve-"))  # readable by this user alone
        self._building = threading.Lock()
        self._closed = False
        self._sites: dict[str, Built] = {}
        self._looked_at = time.monotonic()
        try:
            self._newest = self._made(version())
        except BaseException:
            self.close()
            raise

    def newest(self) -> Built:
        """The newest site that is ready; where the data has changed, the next one is begun in the background."""
        now = time.monotonic()
        if now - self._looked_at >= LOOK_EVERY_S and self._building.acquire(blocking=False):
            self._looked_at = now
            threading.Thread(target=self._catch_up, name="sewermap-site", daemon=True).start()
        return self._newest

    def of(self, version: str) -> Built | None:
        """The site of a version, if it is still kept."""
        return self._sites.get(version)

    def close(self) -> None:
        """Remove all sites from the disk, after a build that is under way."""
        self._closed = True
        with self._building:
            shutil.rmtree(self._place, ignore_errors=True)

    def _catch_up(self) -> None:
        """Build the site of the data's present version if it is not the newest. Runs with the lock held, and gives it back."""
        try:
            version = self._version()
            if version != self._newest.version and not self._closed:
                self._newest = self._made(version)
        except Exception as error:  # noqa: BLE001 - whatever it was, the last site is still good
            self._looked_at = time.monotonic() + RETRY_AFTER_S
            self._complain(f"the site could not be built anew, so the last one is shown: {error}")
        finally:
            self._building.release()

    def _made(self, version: str) -> Built:
        # A new folder each time: one of the same version may be left by a build that failed.
        folder = Path(tempfile.mkdtemp(prefix=f"{version}-", dir=self._place)) / "site"
        files = self._build(folder)
        built = Built(version, folder, frozenset(file.relative_to(folder).as_posix() for file in files))
        self._sites = {**self._sites, version: built}
        for old in list(self._sites)[:-KEPT]:
            shutil.rmtree(self._sites[old].folder.parent, ignore_errors=True)
            self._sites = {kept: site for kept, site in self._sites.items() if kept != old}
        return built
