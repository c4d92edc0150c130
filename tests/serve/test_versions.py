"""What is served follows the database: each load is seen, by pages whole and by layers at once."""

import json
from pathlib import Path

import pytest

from etl.recompute import recompute
from sewermap.book import open_book
from sewermap.serve import site_keeper
from sewermap.store.data_version import data_version
from tests.serve.served_town import Towns, serving


def test_a_load_is_seen(own_town: str, towns: Towns) -> None:
    """After a load pages and layers tell the new data, and a page opened before goes on with the files of its own version."""
    with serving(open_book(own_town, read_only=True)) as served:
        old = served.page()
        version = old.split("/")[2]
        before = json.loads(served.ask("/features/issues.geojson?limit=10000").body)
        mark = served.ask("/features/issues.geojson?limit=10000").headers["etag"]
        assert served.ask("/features/issues.geojson?limit=10000", If_None_Match=mark).status == 304
        open_book(own_town).load(towns.plans[1])
        after = served.ask("/features/issues.geojson?limit=10000", If_None_Match=mark)
        assert after.status == 200
        assert len(json.loads(after.body)["features"]) > len(before["features"])
        served.until_newer(version)
        new = served.page()
        assert served.ask(old).headers["location"] == new
        city = "data/city.js"
        assert served.ask(old.replace("index.html", city)).status == 200
        assert served.ask(old.replace("index.html", city)).body != served.ask(new.replace("index.html", city)).body
        assert served.complaints == []


def test_a_version_changes_with_a_commit_alone(own_town: str, towns: Towns) -> None:
    """The data's version stays while nothing changes, also where the same is loaded again; it is another one after a commit
    that changes rows but adds none, and after one that adds some.
    """
    book = open_book(own_town)
    version = data_version(book.store)
    book.load(towns.plans[0])
    assert data_version(book.store) == version
    with book.store.writing() as conn:
        recompute(book.store, conn)
    computed = data_version(book.store)
    book.load(towns.plans[1])
    assert len({version, computed, data_version(book.store)}) == 3


def test_a_failed_build_leaves_the_last_site() -> None:
    """Where the new site cannot be built, the last one is shown and the reason is told once."""
    complaints: list[str] = []
    versions = iter("abc")

    def build(folder: Path) -> list[Path]:
        if folder.parent.name.startswith("b"):
            raise OSError("no room")
        return _one_page(folder)

    keeper = site_keeper.SiteKeeper(lambda: next(versions), build, complaints.append)
    _look_again(keeper)
    assert keeper.newest().version == "a"
    assert len(complaints) == 1
    assert complaints[0].endswith(": no room")
    _look_again(keeper)
    assert keeper.newest().version == "c"
    assert len(complaints) == 1
    keeper.close()


def test_only_the_last_versions_stay() -> None:
    """Of many versions the last ones are kept on the disk, and none when the server has ended."""
    versions = iter("abcdefgh")
    keeper = site_keeper.SiteKeeper(lambda: next(versions), _one_page, pytest.fail)
    for _ in range(7):
        _look_again(keeper)
    assert [version for version in "abcdefgh" if keeper.of(version)] == list("defgh")
    assert keeper.newest().version == "h"
    place = keeper._place
    assert len(list(place.iterdir())) == site_keeper.KEPT
    keeper.close()
    assert not place.exists()


def _look_again(keeper: site_keeper.SiteKeeper) -> None:
    """What a thread of the keeper does when somebody comes in, done here and now."""
    keeper._building.acquire()
    keeper._catch_up()


def _one_page(folder: Path) -> list[Path]:
    folder.mkdir()
    (folder / "index.html").write_text(folder.parent.name, encoding="utf-8")
    return [folder / "index.html"]
