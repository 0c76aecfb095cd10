"""A stream of which the next thing is made while the current one is worked on."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import pytest

from intervals.readings.files.prefetch import prefetch


def test_the_next_one_is_in_the_making() -> None:
    """While one thing is worked on, the next one is made; the order stays."""
    is_made = [threading.Event() for _ in range(3)]

    def things() -> Iterator[int]:
        for number, event in enumerate(is_made):
            event.set()
            yield number

    seen = []
    for number in prefetch(things()):
        assert all(event.wait(timeout=60) for event in is_made[: number + 2])
        seen.append(number)
    assert seen == [0, 1, 2]


def test_an_error_is_raised_in_its_turn() -> None:
    """What comes before an error is handed out first, then the error is raised."""

    def things() -> Iterator[str]:
        yield "first"
        message = "the second"
        raise LookupError(message)

    stream = prefetch(things())
    assert next(stream) == "first"
    with pytest.raises(LookupError, match="the second"):
        next(stream)


def test_no_thread_is_left_behind() -> None:
    """Who stops half-way leaves no thread running."""
    before = threading.active_count()
    stream = prefetch(iter(range(10)))
    assert next(stream) == 0
    stream.close()  # type: ignore[attr-defined]  # a generator
    assert threading.active_count() == before


def test_streams_of_streams_end_together() -> None:
    """Who stops half-way leaves no thread running, even where what is read ahead is itself made of what was read ahead."""
    before = threading.active_count()

    def doubled() -> Iterator[int]:
        for number in prefetch(iter(range(100))):
            yield 2 * number

    stream = prefetch(doubled())
    assert [next(stream), next(stream)] == [0, 2]
    stream.close()  # type: ignore[attr-defined]  # a generator
    assert threading.active_count() == before


def test_an_error_of_who_asks_ends_the_stream() -> None:
    """No thread is left behind by who fails, though the error remembers where it was raised."""
    before = threading.active_count()

    def invert_all() -> None:
        for number in prefetch(iter(range(10))):
            _ = 1 // number

    with pytest.raises(ZeroDivisionError) as failed:
        invert_all()
    assert failed.traceback
    assert threading.active_count() == before


def test_only_few_wait() -> None:
    """No more is made than is soon worked on: a log is not held in memory as text."""
    made = []

    def things() -> Iterator[int]:
        for number in range(20):
            made.append(number)
            yield number

    for number in prefetch(things()):
        assert len(made) <= number + 4, "one in work, two that wait, and one in the making"


def test_nothing() -> None:
    """Of nothing comes nothing."""
    assert list(prefetch(iter(()))) == []
