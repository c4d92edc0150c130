"""Fixtures for all tests: an address on each engine, and a browser.

PostgreSQL is a cluster of our own, started once and thrown away.
"""

import os
import shutil
import socket
import subprocess
import tempfile
import uuid
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest
from hypothesis import settings
from playwright.sync_api import Browser, sync_playwright
from psycopg import sql

_CHROMIUM_ARGS = [
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
]
_TEMPLATE = "sewermap_template"

# How long an example takes tells of the machine and of what else it does, not of what is tested.
settings.register_profile("sewermap", deadline=None)
settings.load_profile("sewermap")
_SERVER_USER = "postgres"


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """Debian's Chromium, one for all tests of a process: without it they fail and say which package is missing."""
    program = shutil.which("chromium")
    if program is None:
        pytest.fail("the tests of the pages need the Debian package chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=_CHROMIUM_ARGS)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def postgis_server() -> Iterator[str]:
    """The address of a private PostgreSQL cluster (without a database's name) that has a template database with PostGIS."""
    programs = _server_programs()
    folder = Path(tempfile.mkdtemp(prefix="sewermap-postgres-"))
    if os.geteuid() == 0:
        shutil.chown(folder, _SERVER_USER, _SERVER_USER)
    data, port = folder / "data", _free_port()
    _serve(programs / "initdb", "-D", data, "-U", _SERVER_USER, "-A", "trust", "-E", "UTF8", "--no-sync", "--locale=C.UTF-8")
    options = f"-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories='' -c fsync=off -c full_page_writes=off"
    _serve(programs / "pg_ctl", "-D", data, "-w", "-l", folder / "log", "-o", options, "start")
    server = f"postgresql://{_SERVER_USER}@127.0.0.1:{port}"
    try:
        _run_sql(f"{server}/postgres", f"CREATE DATABASE {_TEMPLATE}")
        _add_postgis(f"{server}/{_TEMPLATE}")
        yield server
    finally:
        _serve(programs / "pg_ctl", "-D", data, "-m", "immediate", "stop")
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def postgis_url(postgis_server: str) -> Iterator[str]:
    """The address of a fresh database with PostGIS."""
    name = f"test_{uuid.uuid4().hex}"
    _run_sql(f"{postgis_server}/postgres", f"CREATE DATABASE {name} TEMPLATE {_TEMPLATE}")
    yield f"{postgis_server}/{name}"
    _run_sql(f"{postgis_server}/postgres", f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture(params=["geopackage", "postgis"])
def engine_where(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where a store may be created, once on each engine: the path of a file that is not there, and a fresh database."""
    if request.param == "geopackage":
        return str(tmp_path / "town.gpkg")
    return str(request.getfixturevalue("postgis_url"))


def _server_programs() -> Path:
    """The folder of the newest PostgreSQL server's programs."""
    versions = [path.parent for path in Path("/usr/lib/postgresql").glob("*/bin/initdb")]
    if versions:
        return max(versions, key=lambda path: int(path.parent.name))
    found = shutil.which("initdb")
    if found is None:
        pytest.fail("PostgreSQL's server is not installed: on Debian, apt install postgresql postgresql-postgis", pytrace=False)
    return Path(found).parent


def _add_postgis(where: str) -> None:
    try:
        _run_sql(where, "CREATE EXTENSION postgis")
    except psycopg.Error as error:
        pytest.fail(f"PostGIS is not installed ({error}): on Debian, apt install postgresql-postgis", pytrace=False)


def _serve(*command: object) -> None:
    """Run a program of the server. It refuses to run as root, so then it runs as its own user."""
    as_server = {"user": _SERVER_USER, "group": _SERVER_USER, "extra_groups": []} if os.geteuid() == 0 else {}
    # The started server keeps the output open, so it must not be a pipe that is waited for.
    with tempfile.TemporaryFile() as output:
        done = subprocess.run([str(part) for part in command], cwd="/", stdout=output, stderr=output, check=False, **as_server)
        output.seek(0)
        if done.returncode:
            pytest.fail(f"{command[0]} failed: {output.read().decode(errors='replace')}", pytrace=False)


def _run_sql(where: str, statement: str) -> None:
    with psycopg.connect(where, autocommit=True) as conn:
        conn.execute(sql.SQL(statement))  # type: ignore[arg-type]  # ours, not a user's


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
