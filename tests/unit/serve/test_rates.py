"""Rates: so many at once, so many per minute, of one address and of all."""

from __future__ import annotations

from intervals.serve.rates import MOST_ADDRESSES, Rate, RateLimits


class Clock:
    """A clock that a test moves, s."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        """Return the time."""
        return self.now_s


def test_what_is_used_up_fills_again_with_time() -> None:
    """Three at once, then six per minute: one more after ten seconds, and never more than three at once."""
    clock = Clock()
    limits = RateLimits(Rate(3, 6), Rate(100, 100), clock)
    assert [limits.admits("192.0.2.1") for _ in range(5)] == [True, True, True, False, False]
    clock.now_s = 9.9
    assert not limits.admits("192.0.2.1")
    clock.now_s = 10.0
    assert limits.admits("192.0.2.1")
    clock.now_s = 10_000.0
    assert [limits.admits("192.0.2.1") for _ in range(4)] == [True, True, True, False]


def test_one_address_alone_keeps_nobody_else_out() -> None:
    """What its own rate refuses takes nothing of what all share; when all is used up, everybody waits."""
    limits = RateLimits(Rate(2, 1), Rate(3, 1), Clock())
    assert [limits.admits("192.0.2.1") for _ in range(50)].count(True) == 2
    assert limits.admits("192.0.2.2")
    assert not limits.admits("192.0.2.3")


def test_addresses_of_one_house_are_one() -> None:
    """All of an IPv6 network of 64 bits share a rate; an IPv4 address is the same in either spelling."""
    limits = RateLimits(Rate(1, 1), Rate(100, 1), Clock())
    assert limits.admits("2001:db8::1")
    assert not limits.admits("2001:db8::ffff")
    assert limits.admits("2001:db8:0:1::1")
    assert limits.admits("::ffff:192.0.2.7")
    assert not limits.admits("192.0.2.7")
    assert limits.admits("fe80::1%eth0")
    assert limits.admits("no address")


def test_what_is_remembered_is_bounded() -> None:
    """However many addresses ask, so many are remembered."""
    limits = RateLimits(Rate(1, 1), Rate(10**6, 1), Clock())
    for number in range(MOST_ADDRESSES + 500):
        limits.admits(f"10.{number // 65536}.{number // 256 % 256}.{number % 256}")
    assert len(limits) == MOST_ADDRESSES
