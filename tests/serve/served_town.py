"""A book served on a free port of this machine, and requests that say exactly what they are told to."""

import http.client
import shutil
import threading
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import psycopg
import pytest

from etl.plan import read_plan
from sample_gis import plan_names
from sewermap.book import Book, create_book
from sewermap.demo import copy_town
from sewermap.serve.app import application
from sewermap.serve.running import address, bind, server_of
from sewermap.serve.site_keeper import SiteKeeper


@dataclass(frozen=True)
class Answer:
    """What a server said, byte for byte."""

    status: int
    headers: dict[str, str]
    body: bytes


@dataclass
class Served:
    """A running server, its book, and what it complained about."""

    book: Book
    url: str
    keeper: SiteKeeper
    complaints: list[str] = field(default_factory=list)

    def ask(self, path: str, *, method: str = "GET", **headers: str) -> Answer:
        """Send one request, the path exactly as it is written here. Words of a header's name are joined by ``_``."""
        host, port = self.url.removeprefix("http://").rstrip("/").split(":")
        connection = http.client.HTTPConnection(host, int(port), timeout=60)
        try:
            connection.putrequest(method, path, skip_host="Host" in headers, skip_accept_encoding=True)
            for name, value in headers.items():
                connection.putheader(name.replace("_", "-"), value)
            connection.endheaders()
            response = connection.getresponse()
            return Answer(response.status, {name.lower(): value for name, value in response.getheaders()}, response.read())
        finally:
            connection.close()

    def page(self, name: str = "index.html") -> str:
        """The path of a page in the newest version, as the server leads to it."""
        return self.ask(f"/{name}").headers["location"]

    def until_newer(self, version: str) -> None:
        """Ask for the first page, as a person who waits does, until it is of another version."""
        for _ in range(240):
            if version not in self.page():
                return
            time.sleep(0.25)
        pytest.fail(f"after a minute still version {version}: {self.complaints}")


@contextmanager
def serving(book: Book) -> Iterator[Served]:
    """A server in a thread of its own, on a free port of 127.0.0.1, stopped at the end."""
    complaints: list[str] = []
    app, keeper = application(book, host="127.0.0.1", complain=complaints.append, title="Ottermarsh Quay")
    bound = bind("127.0.0.1", 0)
    server = server_of(app)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [bound]})
    thread.start()
    try:
        while not server.started:
            time.sleep(0.01)
        yield Served(book, address(bound), keeper, complaints)
    finally:
        server.should_exit = True
        thread.join(30)
        bound.close()
    assert not thread.is_alive()


class Towns:
    """Copies of the invented town with its first crew's runs. It is loaded once on an engine, and only copied from then on."""

    def __init__(self, folder: Path, server: str) -> None:
        self._folder, self._server, self._loaded = folder, server, set[str]()
        copy_town(folder)
        self.plans = [folder / name for name in plan_names()]

    def copy(self, engine: str) -> str:
        """Where a new copy is: the path of a GeoPackage, or the address of a database."""
        if engine not in self._loaded:
            create_book(self._made(engine, "sewermap_template", "loaded"), str(read_plan(self.plans[0]).crs)).load(self.plans[0])
            self._loaded.add(engine)
        return self._made(engine, "loaded", f"copy_{uuid.uuid4().hex}")

    def _made(self, engine: str, source: str, name: str) -> str:
        if engine == "geopackage":
            if (self._folder / f"{source}.gpkg").exists():
                shutil.copyfile(self._folder / f"{source}.gpkg", self._folder / f"{name}.gpkg")
            return str(self._folder / f"{name}.gpkg")
        # Nobody is ever connected to the source: PostgreSQL would refuse to copy it.
        with psycopg.connect(f"{self._server}/postgres", autocommit=True) as conn:
            conn.execute(f"CREATE DATABASE {name} TEMPLATE {source}")  # type: ignore[arg-type]
        return f"{self._server}/{name}"
