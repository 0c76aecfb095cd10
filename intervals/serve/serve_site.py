"""A site served: all parts put together, from the socket to the judge.

In: a site's folder, an address, a clock. Out: pages, until it is stopped. Refuses (CLI191) an address that cannot be listened on.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from ipaddress import IPv4Address, IPv6Address
from pathlib import Path
from socket import socket
from typing import NamedTuple

from intervals.questions.record.records_lock import RECORDS
from intervals.serve.app import make_app
from intervals.serve.desk_of_server import Served
from intervals.serve.guards import Hosts
from intervals.serve.hand_in_log import HandInLog
from intervals.serve.judge_thread import JudgeThread
from intervals.serve.pages import Pages
from intervals.serve.passphrase import Passphrase
from intervals.serve.served_site import ServedSite
from intervals.serve.site_desk import SiteDesk
from intervals.serve.web_server import WebServer, listening_socket
from intervals.site.model import Site


class Listening(NamedTuple):
    """Where a server listens, and who may ask it.

    Attributes:
        address: of this machine.
        port: its port; 0: any that is free.
        names: names that people call it by.
        passphrase: what they enter with; None where nobody has to.
    """

    address: IPv4Address | IPv6Address
    port: int
    names: Sequence[str] = ()
    passphrase: Passphrase | None = None


class SiteServer:
    """The server of a site. It listens from when it is made, and answers while it runs.

    Args:
        site: the site, as it was when the server was started; its file is read again for each judgement.
        listening: where it listens.
        clock: yields this moment, with its offset.

    Raises:
        RequestProblemError: the address cannot be listened on (code CLI191).
    """

    def __init__(self, site: Site, listening: Listening, clock: Callable[[], datetime]) -> None:
        folder: Path = site.folder
        bound: socket = listening_socket(listening.address, listening.port)
        self._names = tuple(listening.names)
        self._address, self._port = listening.address, int(bound.getsockname()[1])
        self._thread = JudgeThread()
        self._site = ServedSite(site, clock, self._thread)
        served = Served.of(
            site=self._site,
            pages=Pages(site.title, has_passphrase=listening.passphrase is not None),
            hosts=Hosts(self._address, self._port, listening.names),
            log=HandInLog(folder / RECORDS, clock),
            desk=SiteDesk(folder, clock),
            passphrase=listening.passphrase,
        )
        self._server = WebServer(make_app(served), bound)

    @property
    def address(self) -> str:
        """The address that a browser is given; of a server on every address without a name, what stands for it."""
        if self._address.is_unspecified:
            return f"http://{self._names[0] if self._names else 'ADDRESS-OF-THIS-MACHINE'}:{self._port}/"
        shown = f"[{self._address}]" if isinstance(self._address, IPv6Address) else str(self._address)
        return f"http://{shown}:{self._port}/"

    def run(self) -> None:
        """Answer until Ctrl-C or `stop`; a card that is being written is written whole first."""
        try:
            self._server.run()
        finally:
            # who waits for the judge is answered before the connections go
            self._thread.close()
            self._site.close()
            self._server.close()

    def stop(self) -> None:
        """End `run`, from another thread."""
        self._server.stop()
