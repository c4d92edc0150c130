"""Scripts of a page as one file."""

import re

from sewermap.web.script_bundles import with_bundles

PAGE = '<script src="static/a.js"></script>\n<script src="static/b.js"></script>\n<script src="data/words.js"></script>\n'
ALONE = '<script src="static/c.js"></script>\n'
FILES = {
    "index.html": PAGE + ALONE,
    "due.html": PAGE + PAGE.replace("static/a", "static/c"),
    "static/a.js": b"first();",
    "static/b.js": "// no line end",
    "static/c.js": b"third();",
    "static/site.css": b"",
    "data/words.js": "",
}


def scripts_of(markup: object) -> list[str]:
    """The scripts that a page loads, in order."""
    return re.findall(r'src="([^"]+)"', str(markup))


def test_a_run_of_scripts_is_one_file_in_the_same_order() -> None:
    """What stood in a row stands in one file; what stood alone, or is data, stays where it was."""
    made = with_bundles(FILES)
    assert scripts_of(made["index.html"]) == ["static/index-1.js", "data/words.js", "static/c.js"]
    assert scripts_of(made["due.html"]) == ["static/due-1.js", "data/words.js", "static/due-2.js", "data/words.js"]
    assert str(made["static/index-1.js"]).split() == ["first();", ";", "//", "no", "line", "end"]
    assert "third();" in str(made["static/due-2.js"])


def test_only_files_that_a_page_names_are_kept() -> None:
    """A script that is in bundles alone is no file any more; one that a page names alone still is, and so is all else."""
    made = with_bundles(FILES)
    assert {"static/c.js", "static/site.css", "data/words.js"} <= set(made)
    assert not {"static/a.js", "static/b.js"} & set(made)
