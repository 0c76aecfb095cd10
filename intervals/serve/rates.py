"""How many requests are answered: so many of one address, so many in all; the rest is asked to come later.

In: the address of each request. Out: whether it is answered. What is remembered is bounded, however many addresses ask.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from ipaddress import IPv6Address, IPv6Network, ip_address
from threading import Lock
from time import monotonic
from typing import NamedTuple

MOST_ADDRESSES = 2000
"""So many addresses are remembered; the one that has been quiet for longest is forgotten first."""
_MINUTE_S = 60.0
_NETWORK_BITS = 64


class Rate(NamedTuple):
    """So many at once, and so many per minute after that."""

    at_once: int
    per_minute: float


class _Bucket:
    """What is left of a rate: it fills up with time, and each request takes one."""

    def __init__(self, rate: Rate, now_s: float) -> None:
        self._rate, self._left, self._at_s = rate, float(rate.at_once), now_s

    def fill(self, now_s: float) -> float:
        """Return what is left by now."""
        filled = self._left + (now_s - self._at_s) * self._rate.per_minute / _MINUTE_S
        self._left, self._at_s = min(float(self._rate.at_once), filled), now_s
        return self._left

    def take(self) -> None:
        """Take one."""
        self._left -= 1.0


class RateLimits:
    """The bounds on requests, shared by all threads.

    A request that its own address has used up takes nothing of what all share, so that one address alone keeps nobody else out.

    Args:
        of_one: the rate of one address; all addresses of an IPv6 network of one house (/64) are one.
        in_all: the rate of all addresses together.
        clock_s: a clock that only goes forward, s.
    """

    def __init__(self, of_one: Rate, in_all: Rate, clock_s: Callable[[], float] = monotonic) -> None:
        self._of_one, self._clock_s, self._lock = of_one, clock_s, Lock()
        self._in_all = _Bucket(in_all, clock_s())
        self._of_address: OrderedDict[str, _Bucket] = OrderedDict()

    def __len__(self) -> int:
        """How many addresses are remembered."""
        return len(self._of_address)

    def admits(self, address: str) -> bool:
        """Return whether a request of an address is answered, and count it if it is."""
        place = _place_of(address)
        with self._lock:
            now_s = self._clock_s()
            own = self._of_address.pop(place, None) or _Bucket(self._of_one, now_s)
            self._of_address[place] = own
            if len(self._of_address) > MOST_ADDRESSES:
                self._of_address.popitem(last=False)
            if own.fill(now_s) < 1.0 or self._in_all.fill(now_s) < 1.0:
                return False
            own.take()
            self._in_all.take()
            return True


def _place_of(address: str) -> str:
    """Return what counts as one address."""
    try:
        parsed = ip_address(address.partition("%")[0])
    except ValueError:
        return ""
    if isinstance(parsed, IPv6Address):
        mapped = parsed.ipv4_mapped
        return str(mapped) if mapped else str(IPv6Network((parsed, _NETWORK_BITS), strict=False))
    return str(parsed)
