import hashlib
import json
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
import shapely
from geopandas import GeoDataFrame

from sewermap.errors import SewermapError
from sewermap.web.site import build

HOSTILE = '</title></script><img src=x onerror="window.hit=1">'


class Tags(HTMLParser):
    """Every tag of a page with its attributes, and the text inside scripts and styles."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.inside = [], ""
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        """Keep a tag."""
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data):
        """Keep what stands inside scripts and styles."""
        if self.tags and self.tags[-1][0] in ("script", "style"):
            self.inside += data.strip() if self.cdata_elem else ""


def data_of(folder):
    """Read the data that a page is given."""
    text = (folder / "data.js").read_text(encoding="utf-8")
    return json.loads(re.fullmatch(r"sewermap\.take\((.*)\);\n", text, re.DOTALL).group(1))


def test_files_are_told_and_all_there(town_tables, tmp_path):
    """The index comes first, every file told exists, and no other file is written."""
    files = build(town_tables(), tmp_path / "new" / "folder")
    assert files[0] == tmp_path / "new" / "folder" / "index.html"
    assert sorted(files) == sorted(path for path in (tmp_path / "new").rglob("*") if path.is_file())


def test_every_file_that_the_page_names_is_in_the_folder(site):
    """Scripts, styles and links of the page are relative and exist: nothing comes from a network."""
    named = [
        value
        for _, attrs in Tags((site / "index.html").read_text()).tags
        for name, value in attrs.items()
        if name in ("src", "href")
    ]
    assert len(named) > 10
    assert [name for name in named if not name.startswith("#") and not (site / name).is_file()] == []


def test_the_page_holds_no_script_style_or_handler_in_its_text(site):
    """All code is in files, so that the policy can forbid code in the text."""
    page = Tags((site / "index.html").read_text())
    assert page.inside == ""
    assert [attrs for _, attrs in page.tags if any(name == "style" or name.startswith("on") for name in attrs)] == []
    assert [attrs for tag, attrs in page.tags if tag == "script" and "src" not in attrs] == []
    policy = next(attrs["content"] for tag, attrs in page.tags if attrs.get("http-equiv") == "Content-Security-Policy")
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy


def test_the_viewport_allows_zooming(site):
    """One viewport tag, and it does not forbid a person to enlarge the page (WCAG 2.2, 1.4.4)."""
    views = [attrs["content"] for tag, attrs in Tags((site / "index.html").read_text()).tags if attrs.get("name") == "viewport"]
    assert views == ["width=device-width, initial-scale=1"]


def test_the_same_tables_give_the_same_bytes(town_tables, tmp_path):
    """No chance, clock or row order of a dictionary shows in the files."""
    first, second = build(town_tables(), tmp_path / "a"), build(town_tables(), tmp_path / "b")
    assert [path.read_bytes() for path in first] == [path.read_bytes() for path in second]


def test_a_hostile_title_stays_text(town_tables, tmp_path):
    """A title with markup is escaped in the page and cannot end the script that carries the data."""
    build(town_tables(title=HOSTILE), tmp_path)
    assert "<img" not in (tmp_path / "index.html").read_text()
    assert "<" not in (tmp_path / "data.js").read_text()
    assert data_of(tmp_path)["title"] == HOSTILE


def test_a_towns_data_is_complete(town_tables, site):
    """Every observation is in the data, with a place or without."""
    seen, table = data_of(site)["observations"], town_tables().placed_observations
    assert len(seen["lon"]) == len(table)
    assert seen["lon"].count(None) == int(table["geometry"].isna().sum())
    assert sorted(seen["source_row"]) == sorted(table["source_row"])


def test_the_order_is_that_of_a_person(site):
    """By house with numbers as numbers (2 before 10), then by measure."""
    seen = data_of(site)["observations"]
    houses = [seen["address"]["words"][code] for code in seen["address"]["codes"]]
    assert list(dict.fromkeys(houses)) == [f"{number} Alder Lane" for number in (2, 4, 6, 8, 10, 12)]


def test_the_bundled_library_is_the_one_that_is_told(site):
    """Leaflet's files are unchanged and its licence lies beside them."""
    note = (site / "static" / "THIRD_PARTY.md").read_text()
    for name in ("leaflet.js", "leaflet.css"):
        assert f"leaflet/{name}` {hashlib.sha256((site / 'static' / 'leaflet' / name).read_bytes()).hexdigest()}" in note
    assert "BSD 2-Clause" in (site / "static" / "leaflet" / "LICENSE").read_text()
    assert "Leaflet 1.9.4" in (site / "static" / "leaflet" / "leaflet.js").read_text()[:200]


def test_a_layer_without_crs_is_refused_before_anything_is_written(town_tables, tmp_path):
    """The error names the layer; no half a site is left behind."""
    lost = GeoDataFrame({"main": ["M"]}, geometry=[shapely.LineString([(0, 0), (1, 1)])])
    with pytest.raises(SewermapError, match="mains"):
        build(town_tables(mains=lost), tmp_path / "site")
    assert not (tmp_path / "site").exists()


def test_a_folder_that_cannot_be_made_is_told_in_a_sentence(town_tables, tmp_path):
    """Where a file stands in the way, the error names the folder and says what to do."""
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(SewermapError, match=r"taken.*choose another folder"):
        build(town_tables(), Path(tmp_path / "taken"))


def test_unknown_units_are_refused(town_tables):
    """Lengths are told in feet or metres first, nothing else."""
    with pytest.raises(SewermapError, match="must be ft or m"):
        town_tables(units="yd")
