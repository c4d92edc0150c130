"""The scripts that stand one after another in a page as one file: a page of thirty files opens slowly from a share."""

import re
from collections.abc import Mapping

Files = Mapping[str, str | bytes]

_TAG = r'<script src="static/[^"]+\.js"></script>\n'
_RUN = re.compile(f"(?:{_TAG}){{2,}}")
_NAME = re.compile(r'src="(static/[^"]+)"')


def with_bundles(files: Files) -> dict[str, str | bytes]:
    """The files of a site, in whose pages each run of scripts of static/ is one file, in the same order.

    Bundles are named after their page (``static/index-1.js``). What a page still names alone stays; scripts that no page names
    any more are left out. The same files give the same bytes.
    """
    pages = {name: str(text) for name, text in files.items() if name.endswith(".html")}
    bundles: dict[str, str | bytes] = {}
    joined: set[str] = set()
    for name, markup in pages.items():
        for number, run in enumerate(_RUN.findall(markup), start=1):
            bundle = f"static/{name.removesuffix('.html')}-{number}.js"
            scripts = _NAME.findall(run)
            joined.update(scripts)
            bundles[bundle] = "\n;\n".join(_text(files[script]) for script in scripts)
            pages[name] = pages[name].replace(run, f'<script src="{bundle}"></script>\n', 1)
    named = {script for markup in pages.values() for script in _NAME.findall(markup)}
    kept = {name: content for name, content in files.items() if name not in joined - named}
    return {**kept, **pages, **bundles}


def _text(content: str | bytes) -> str:
    return content if isinstance(content, str) else content.decode("utf-8")
