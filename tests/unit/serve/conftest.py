"""A server of the small site, on a free port of this machine's loopback, as people meet it: through a socket."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from ipaddress import ip_address
from pathlib import Path
from threading import Thread

import pytest

from intervals.serve.passphrase import Passphrase
from intervals.serve.serve_site import Listening, SiteServer
from intervals.site.model import Site, load_site
from tests.unit.serve.served_pages import NOW, Person, write_quay

Serve = Callable[..., Person]


@contextmanager
def served(site: Site, passphrase: str | None = None, names: tuple[str, ...] = ()) -> Iterator[int]:
    """Serve a site while the context lasts; yield the port."""
    listening = Listening(ip_address("127.0.0.1"), 0, names, None if passphrase is None else Passphrase(passphrase))
    server = SiteServer(site, listening, lambda: NOW)
    thread = Thread(target=server.run)
    thread.start()
    try:
        yield int(server.address.rstrip("/").rpartition(":")[2])
    finally:
        server.stop()
        thread.join(60)
        assert not thread.is_alive()


@pytest.fixture
def quay(tmp_path: Path) -> Path:
    """Return the folder of the small site."""
    return write_quay(tmp_path / "quay").folder


@pytest.fixture
def serve(quay: Path) -> Iterator[Serve]:
    """Return what serves the site and gives back a person with a browser."""
    with ExitStack() as held:
        yield lambda *args, **options: Person(held.enter_context(served(load_site(quay), *args, **options)))
