"""Bind, serve until stopped, clean up."""

from __future__ import annotations

import socket
from typing import TYPE_CHECKING, Any

import uvicorn

from sewermap.errors import SewermapError
from sewermap.serve.app import application
from sewermap.serve.guard import is_loopback

if TYPE_CHECKING:
    from collections.abc import Callable, Collection

    from starlette.types import ASGIApp

    from sewermap.book import Book


def run(book: Book, *, host: str, port: int, names: Collection[str] = (), tell: Callable[[str], None], **about: Any) -> None:
    """Serve a database until the process is asked to stop. Port 0 takes a free one.

    ``tell`` hears each sentence that a user should read, with the address once it can be opened. Raises SewermapError.
    """
    bound = bind(host, port)
    try:
        tell("building the site …")
        app, keeper = application(book, host=host, names=names, complain=tell, **about)
        try:
            tell(f"serving {book.store.shown} at {address(bound)} for reading; Ctrl+C stops it")
            if not is_loopback(host):
                tell("whoever reaches this address reads all of it: put it behind a proxy that asks for a login")
            server_of(app).run(sockets=[bound])
        finally:
            keeper.close()
    except KeyboardInterrupt:
        tell("stopped")
    finally:
        bound.close()


def server_of(app: ASGIApp) -> uvicorn.Server:
    """A server that tells nobody what it is made of, and writes no line for each request."""
    # The parts are named, so that it is the same server whatever else is installed.
    config = uvicorn.Config(app, http="h11", ws="none", lifespan="on", log_level="warning", access_log=False, server_header=False)
    return uvicorn.Server(config)


def bind(host: str, port: int) -> socket.socket:
    """A socket on a host and port. Raises SewermapError where it is taken, or the host is none of this machine's."""
    try:
        family = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][0]
        bound = socket.socket(family, socket.SOCK_STREAM)
        try:
            bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            bound.bind((host, port))
            # Listening from here on: whoever comes while the site is being built waits, and nobody else can take the port.
            bound.listen()
        except BaseException:
            bound.close()
            raise
    except (OSError, OverflowError) as error:
        raise SewermapError(
            f"cannot serve at {host}, port {port}: {getattr(error, 'strerror', None) or error}; name another by --host or --port"
        ) from error
    return bound


def address(bound: socket.socket) -> str:
    """The address to open in a browser."""
    host, port = bound.getsockname()[:2]
    return f"http://[{host}]:{port}/" if ":" in host else f"http://{host}:{port}/"
