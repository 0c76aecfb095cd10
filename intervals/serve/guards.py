"""What a request must be before anything looks at what it asks for: sent to this server, and a post sent by a page of this server.

In: headers. Out: whether they are as they must be, and the headers of an answer. It knows nothing of sessions.
"""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Collection
from hashlib import sha256
from ipaddress import IPv4Address, IPv6Address, ip_address
from urllib.parse import urlsplit

from werkzeug.datastructures import Headers

_HOST = re.compile(r"(\[[0-9A-Fa-f:.]+\]|[A-Za-z0-9_](?:[A-Za-z0-9._-]{0,251}[A-Za-z0-9_])?)(?::([0-9]{1,5}))?", re.ASCII)
_HTTP_PORT = 80
_SCRIPT = re.compile(r"<script>(.*?)</script>", re.DOTALL)
_FIXED_HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # no other site learns where a person comes from; with no-referrer browsers would post without saying their origin
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}
_FRAME = "default-src 'none'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"


class Hosts:
    """The names under which the server is asked. A page of another name, led here by a trick with names, is not answered.

    Args:
        address: the address that the server listens on.
        port: its port.
        names: names that it has besides, whatever the port: a proxy in front of it may have another one.
    """

    def __init__(self, address: IPv4Address | IPv6Address, port: int, names: Collection[str] = ()) -> None:
        self._address, self._port = address, port
        self._names = frozenset(name.lower() for name in names)

    def allows(self, host: str | None) -> bool:
        """Return whether a request for a host is meant for this server.

        Args:
            host: the header `Host`; None where there is none.
        """
        found = _HOST.fullmatch(host or "")
        if found is None:
            return False
        name, port = found[1].lower(), int(found[2] or _HTTP_PORT)
        return name in self._names or (port == self._port and self._is_own(name.strip("[]")))

    def _is_own(self, name: str) -> bool:
        """Tell whether a name or an address is one that the server listens on."""
        if name == "localhost":
            return self._address.is_loopback or self._address.is_unspecified
        try:
            asked = ip_address(name)
        except ValueError:
            return False
        # an address cannot be led elsewhere, as a name can
        return self._address.is_unspecified or asked == self._address


def is_from_here(headers: Headers) -> bool:
    """Return whether a post was sent by a page of this server, as far as a browser says so; one that says nothing is not let in.

    Args:
        headers: those of the request; `Host` was looked at before.
    """
    if headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
        return False
    said = headers.get("Origin") or headers.get("Referer")
    if not said:
        return False
    try:
        parts = urlsplit(said)
    except ValueError:
        return False
    return parts.scheme in ("http", "https") and parts.netloc.lower() == headers.get("Host", "").lower()


def headers_of_page(style: str) -> dict[str, str]:
    """Return the headers of a page of this server: it has one style and no script."""
    return {**_FIXED_HEADERS, "Content-Security-Policy": f"{_FRAME}; style-src '{_digest(style)}'"}


def headers_of_report(page: str) -> dict[str, str]:
    """Return the headers of a page that a report has made: only its own scripts run, and it asks nobody for anything."""
    scripts = " ".join(f"'{_digest(script)}'" for script in _SCRIPT.findall(page)) or "'none'"
    return {**_FIXED_HEADERS, "Content-Security-Policy": f"{_FRAME}; style-src 'unsafe-inline'; script-src {scripts}"}


def _digest(text: str) -> str:
    """Return what a policy names a style or a script by."""
    return f"sha256-{b64encode(sha256(text.encode('utf-8')).digest()).decode('ascii')}"
