"""Reading only, by a name of ours, from the folder alone, and nothing guessed by a browser."""

import socket
from pathlib import Path

import pytest

from sewermap.serve.guard import Guard, host_of, is_loopback, names_of
from tests.serve.served_town import Served

HOSTILE = [
    "/../../etc/passwd",
    "/v/VERSION/../../../../etc/passwd",
    "/v/VERSION/..%2F..%2F..%2Fetc%2Fpasswd",
    "/v/VERSION/%2e%2e/%2e%2e/%2e%2e/etc/passwd",
    "/v/VERSION/data/../index.html",
    "/v/VERSION/data/%2e%2e/index.html",
    "/v/VERSION//etc/passwd",
    "/v/VERSION/%2Fetc%2Fpasswd",
    "/v/VERSION/data\\town.js",
    "/v/VERSION/..%5c..%5cindex.html",
    "/v/VERSION/index.html%00.js",
    "/v/VERSION/INDEX.HTML",
    "/v/VERSION/index.html/",
    "/v/VERSION/stolen.html",
    "/v/VERSION/data/stolen.js",
    "/v/VERSION/data",
    "/v/VERSION/data/",
    "/v/VERSION/",
    "/v/",
    "/v/../town.gpkg",
    "/town.gpkg",
    "/%ff%fe",
    "/features/..%2Ftown.gpkg.geojson",
    "/ogc/../town.gpkg",
    "/ogc/collections/..%2f/items",
    "/static/",
    "/site/index.html",
]


def test_no_path_leads_out(town: Served) -> None:
    """Only names that the build made are files: no dots, codes, links or folders lead to another, and nothing is listed."""
    newest = town.keeper.newest()
    for name in ("stolen.html", "data/stolen.js"):
        link = newest.folder / name
        if not link.is_symlink():
            link.symlink_to(town.book.store.where)
    for path in HOSTILE:
        answer = town.ask(path.replace("VERSION", newest.version))
        assert answer.status == 404, path
        assert b"root:" not in answer.body, path
        assert len(answer.body) < 200, path


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "PROPFIND"])
def test_nothing_can_be_written(town: Served, method: str) -> None:
    """Every method but GET and HEAD is refused everywhere (RFC 9110, 15.5.6: with what is allowed)."""
    for path in ("/", "/features/laterals.geojson", "/ogc", "/ogc/collections/issues/items", "/digsheet/x", "/none"):
        answer = town.ask(path, method=method)
        assert (answer.status, answer.headers["allow"]) == (405, "GET, HEAD"), path


@pytest.mark.parametrize("path", ["/", "/ogc", "/features/laterals.geojson?limit=1"])
def test_a_strangers_name_is_refused(town: Served, path: str) -> None:
    """On 127.0.0.1 a request must name this machine: a stranger's page whose name leads here is refused (DNS rebinding)."""
    port = town.url.rstrip("/").rsplit(":", 1)[1]
    for host in (
        "evil.example",
        f"evil.example:{port}",
        "127.0.0.1.evil.example",
        "192.0.2.7",
        "",
        "localhost@evil.example",
        "[::2]",
    ):
        assert town.ask(path, Host=host).status == 421, host
    for host in ("localhost", f"LOCALHOST:{port}", "127.0.0.1", f"[::1]:{port}"):
        assert town.ask(path, Host=host).status in {200, 307}, host


def test_two_names_are_none(town: Served) -> None:
    """A request with two Host headers, or none, is refused."""
    host, port = town.url.removeprefix("http://").rstrip("/").split(":")
    for lines in ("Host: localhost\r\nHost: evil.example\r\n", "X: y\r\n"):
        with socket.create_connection((host, int(port)), timeout=30) as raw:
            raw.sendall(f"GET / HTTP/1.1\r\n{lines}Connection: close\r\n\r\n".encode())
            assert raw.recv(100).split()[1] in {b"400", b"421"}


@pytest.mark.parametrize(
    "path", ["/", "PAGE", "/none", "/features/laterals.geojson", "/features/none.geojson", "/ogc", "/ogc/none"]
)
def test_every_answer_is_guarded(town: Served, path: str) -> None:
    """Every answer tells a browser to guess no type, to be in no frame, to run nothing but what the page's policy allows."""
    told = town.ask(town.page() if path == "PAGE" else path).headers
    assert told["x-content-type-options"] == "nosniff"
    assert told["referrer-policy"] == "no-referrer"
    assert told["x-frame-options"] == "DENY"
    assert told["content-security-policy"].endswith("frame-ancestors 'none'")
    assert "access-control-allow-origin" not in told
    assert "server" not in told


def test_a_pages_policy_is_its_own(town: Served) -> None:
    """The header says what the page's own policy says, and that no other page may frame it."""
    answer = town.ask(town.page())
    policy = answer.headers["content-security-policy"].removesuffix("; frame-ancestors 'none'")
    assert f'content="{policy}"'.encode() in answer.body
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy


def test_names_beyond_this_machine() -> None:
    """At other addresses a server is called by an address, the machine's name and the names that were told; no other."""
    assert is_loopback("127.0.0.1")
    assert is_loopback("::1")
    assert not is_loopback("0.0.0.0")  # noqa: S104 - it is what is asked about
    guard = Guard(_nobody, names_of("0.0.0.0", ["maps.town.example"]), any_address=True)  # noqa: S104
    assert guard._is_ours(["maps.town.example:443"])
    assert guard._is_ours([f"{socket.gethostname()}:80"])
    assert guard._is_ours(["192.0.2.7:8090"])
    assert guard._is_ours(["[2001:db8::7]:8090"])
    assert not guard._is_ours(["evil.example"])
    assert not guard._is_ours([])
    assert host_of("[2001:db8::7]:8090") == "2001:db8::7"


def test_the_sites_place_is_private(town: Served) -> None:
    """The folder of the sites may be read by its user alone."""
    place = Path(town.keeper._place)
    assert place.stat().st_mode & 0o077 == 0


async def _nobody(*_asgi: object) -> None:
    """Answer nothing."""
