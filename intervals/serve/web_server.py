"""The server itself: a socket, threads, and what bounds connections that are slow, many, or left open.

In: an application and an address. Out: answers, until it is stopped. Refuses (CLI191) an address or a port that cannot be listened on.
"""

from __future__ import annotations

import logging
import socket
from contextlib import suppress
from ipaddress import IPv4Address, IPv6Address
from time import monotonic
from typing import TYPE_CHECKING, Any

from waitress import wasyncore
from waitress.adjustments import Adjustments
from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser
from waitress.server import TcpWSGIServer

from intervals.problems import Problem, RequestProblemError
from intervals.serve.app import MOST_BODY_BYTES

if TYPE_CHECKING:
    from _typeshed.wsgi import WSGIApplication

CANNOT_LISTEN = "CLI191"
MOST_CONNECTIONS, MOST_OF_ONE = 200, 40
"""Connections that are open at once: in all, and of one address."""
REQUEST_TAKES_S = 60.0
"""A request that has not come whole after so long is cut off, however it trickles."""
QUIET_S, LOOKS_EVERY_S = 30, 5
ENDS_WITHIN_S = 30
_HEADER_BYTES = 32_000
_THREADS = 12


class _TimedRequest(HTTPRequestParser):  # type: ignore[misc]  # the library has no types
    """A request in the coming, and when it began to come."""

    def __init__(self, adj: Adjustments) -> None:
        super().__init__(adj)
        self.began_s = monotonic()


class _Channel(HTTPChannel):  # type: ignore[misc]  # likewise
    """A connection whose requests know when they began."""

    parser_class = _TimedRequest


class _BoundedServer(TcpWSGIServer):  # type: ignore[misc]  # likewise
    """The library's server, with bounds on the connections of one address and on how slowly a request may come."""

    is_ending = False

    def readable(self) -> bool:
        """Say whether connections are taken, each time round; end the loop where the server is to end."""
        if self.is_ending:
            raise SystemExit
        return bool(super().readable())

    def channel_class(self, _: object, conn: socket.socket, addr: tuple[Any, ...], adj: Adjustments, map: dict[int, Any]) -> None:
        """Open a connection; one too many of its address takes the place of the oldest that keeps the server waiting.

        Behind a proxy all people are one address: whoever holds connections open must not keep the others out. Where all of them are being
        answered, the new one is closed.
        """
        own = [channel for channel in self.active_channels.values() if channel.addr[0] == addr[0] and not channel.will_close]
        if len(own) >= MOST_OF_ONE:
            waiting = [channel for channel in own if not channel.requests and not channel.total_outbufs_len]
            if not waiting:
                conn.close()
                return
            min(waiting, key=lambda channel: channel.creation_time).will_close = True
        _Channel(self, conn, addr, adj, map=map)

    def maintenance(self, now: float) -> None:
        """Close connections that are quiet, and those whose request has been coming for too long."""
        super().maintenance(now)
        for channel in self.active_channels.values():
            coming = channel.request
            if coming is not None and monotonic() - coming.began_s > REQUEST_TAKES_S:
                channel.will_close = True


def listening_socket(address: IPv4Address | IPv6Address, port: int) -> socket.socket:
    """Return a socket bound to an address.

    Args:
        address: of this machine.
        port: from 1 to 65535; 0: any that is free.

    Raises:
        RequestProblemError: it is in use, not allowed or not an address of this machine (code CLI191).
    """
    family = socket.AF_INET6 if isinstance(address, IPv6Address) else socket.AF_INET
    made = socket.socket(family, socket.SOCK_STREAM)
    try:
        if hasattr(socket, "SO_EXCLUSIVEADDRUSE"):
            made.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        else:
            # the port of a server that has just ended may be taken again; of one that runs it may not
            made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        if family == socket.AF_INET6:
            made.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
        made.bind((str(address), port))
    except OSError as error:
        made.close()
        text = f"cannot listen on {address}, port {port}: {error.strerror or error}"
        raise RequestProblemError(
            [Problem(CANNOT_LISTEN, "--bind", None, None, text, "choose another --port, or an address of this machine")]
        ) from error
    return made


class WebServer:
    """A server on a socket.

    Args:
        app: answers requests.
        bound: the socket, bound; it is closed with the server.
    """

    def __init__(self, app: WSGIApplication, bound: socket.socket) -> None:
        for name in ("waitress", "waitress.queue"):
            # requests that are cut or waiting are no news to whoever started the server
            logging.getLogger(name).setLevel(logging.CRITICAL)
        self._map: dict[int, Any] = {}
        settings = Adjustments(
            sockets=[bound],
            threads=_THREADS,
            connection_limit=MOST_CONNECTIONS,
            channel_timeout=QUIET_S,
            cleanup_interval=LOOKS_EVERY_S,
            max_request_header_size=_HEADER_BYTES,
            max_request_body_size=MOST_BODY_BYTES,
            inbuf_overflow=2 * MOST_BODY_BYTES,
            log_socket_errors=False,
            expose_tracebacks=False,
            ident=None,
        )
        info = (bound.family, bound.type, bound.proto, bound.getsockname())
        self._server = _BoundedServer(app, self._map, True, bound, adj=settings, bind_socket=False, sockinfo=info)

    def run(self) -> None:
        """Answer until Ctrl-C, a polite end by the system, or `stop`."""
        self._server.run()

    def stop(self) -> None:
        """End `run`, from another thread."""
        self._server.is_ending = True
        # where it ended by itself meanwhile, there is nothing left to wake up
        with suppress(OSError):
            self._server.pull_trigger()

    def close(self) -> None:
        """Wait for what is being answered, and close all connections."""
        self._server.task_dispatcher.shutdown(timeout=ENDS_WITHIN_S)
        wasyncore.close_all(self._map)
