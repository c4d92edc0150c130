"""fiona, imported so that it finds its own PROJ.

fiona's wheel brings a PROJ of its own. When the environment points PROJ_LIB or PROJ_DATA at another one (a desktop GIS
often does), fiona alone breaks, and unsetting them later does not help: they must be out of the way while it is imported.
"""

import os

_SET_ASIDE = {name: os.environ.pop(name) for name in ("PROJ_LIB", "PROJ_DATA") if name in os.environ}

import fiona  # noqa: E402 (see above)
import fiona.errors  # noqa: E402

os.environ.update(_SET_ASIDE)

__all__ = ["fiona"]
