"""What every request must be, and what every answer says of itself: reading only, by a name of ours, nothing guessed."""

from __future__ import annotations

import ipaddress
import socket
from typing import TYPE_CHECKING

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse

if TYPE_CHECKING:
    from collections.abc import Collection

    from starlette.types import ASGIApp, Message, Receive, Scope, Send

METHODS = ("GET", "HEAD")
STRICT = "default-src 'none'; frame-ancestors 'none'"
"""The policy of whatever is no page of ours."""

SAID = {
    "Content-Security-Policy": STRICT,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-cache",
}
"""Said in every answer that does not say otherwise. ``no-cache``: a copy may be kept, but is asked after each time."""


class Guard:
    """Refuses what is no question, and questions to a name that is not ours.

    A page of a stranger can make its own name lead to this machine (DNS rebinding), and would then read the town's data in a
    browser here; such a request bears the stranger's name in its Host header.
    """

    def __init__(self, app: ASGIApp, names: Collection[str], *, any_address: bool) -> None:
        """``names``: hosts this server is called by; ``any_address``: also by any IP address (no stranger's name is one)."""
        self._app, self._any_address = app, any_address
        self._names = frozenset(name.lower().strip("[]") for name in names)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or let the request through."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in SAID.items():
                    headers.setdefault(name, value)
            await send(message)

        refusal = self._refusal(scope)
        await (refusal or self._app)(scope, receive, send_with_headers)

    def _refusal(self, scope: Scope) -> PlainTextResponse | None:
        if not self._is_ours(Headers(scope=scope).getlist("host")):
            return PlainTextResponse("this server is not called so; see sewermap serve --name\n", 421)
        if scope["method"] not in METHODS:
            return PlainTextResponse("this server is for reading only\n", 405, {"Allow": ", ".join(METHODS)})
        return None

    def _is_ours(self, hosts: list[str]) -> bool:
        if len(hosts) != 1:
            return False
        name = host_of(hosts[0])
        return name in self._names or (self._any_address and is_address(name))


def host_of(header: str) -> str:
    """The name in a Host header, without its port.

    >>> host_of("LocalHost:8000"), host_of("[::1]:8000"), host_of("127.0.0.1")
    ('localhost', '::1', '127.0.0.1')
    """
    header = header.strip().lower()
    if header.startswith("["):
        return header[1:].split("]", 1)[0]
    return header.split(":", 1)[0]


def is_address(name: str) -> bool:
    """Whether a host is written as an IP address.

    >>> is_address("192.0.2.7"), is_address("::1"), is_address("town.example")
    (True, True, False)
    """
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def is_loopback(host: str) -> bool:
    """Whether a host is this machine alone.

    >>> is_loopback("localhost"), is_loopback("127.0.0.2"), is_loopback("0.0.0.0")
    (True, True, False)
    """
    return host == "localhost" or (is_address(host) and ipaddress.ip_address(host).is_loopback)


def names_of(host: str, further: Collection[str]) -> list[str]:
    """What a server on a host is called: as this machine alone, or by the machine's name, and as was said further."""
    own = ["localhost", "127.0.0.1", "::1", host]
    return [*own, *further] if is_loopback(host) else [*own, socket.gethostname(), *further]
