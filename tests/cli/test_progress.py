"""How far a long command has come."""

from __future__ import annotations

import sys
from io import StringIO

import pytest

from intervals.cli.common.progress import progress_bar


class Terminal(StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        """Return True."""
        return True


def watched(monkeypatch: pytest.MonkeyPatch, *seconds: float) -> Terminal:
    """Put a terminal in the place of standard error, and let the stopwatch show these seconds, one after the other."""
    stream = Terminal()
    times = iter(seconds)
    monkeypatch.setattr(sys, "stderr", stream)
    monkeypatch.setattr("intervals.cli.common.progress.monotonic", lambda: next(times))
    return stream


def test_nobody_watching_is_told_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where standard error is a file, a stage gets nothing to call."""
    monkeypatch.setattr(sys, "stderr", StringIO())
    with progress_bar() as tell:
        assert tell is None


def test_two_seconds_pass_in_silence(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is quick shows no bar."""
    terminal = watched(monkeypatch, 0.0, 0.5, 1.9)
    with progress_bar() as tell:
        assert tell is not None
        tell("reading", 0.5)
        tell("reading", 1.0)
    assert terminal.getvalue() == ""


def test_what_takes_longer_is_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    """After two seconds each stage has its bar, by name, whatever the share it claims."""
    terminal = watched(monkeypatch, 0.0, 2.1)
    with progress_bar() as tell:
        assert tell is not None
        tell("reading", 0.5)
        tell("judging", 7.0)
    assert "reading" in terminal.getvalue()
    assert "judging" in terminal.getvalue()
    assert "100 %" in terminal.getvalue()


def test_the_bar_goes_when_a_stage_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    """An error takes the bar away and goes on."""
    terminal = watched(monkeypatch, 0.0, 2.1)

    def fail() -> None:
        with progress_bar() as tell:
            assert tell is not None
            tell("reading", 0.5)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()
    assert terminal.getvalue()
