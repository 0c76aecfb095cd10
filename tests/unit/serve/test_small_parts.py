"""The small parts of a server: passphrase, log, the judge's thread, answers that are kept."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor, as_completed
from itertools import islice
from pathlib import Path
from threading import Event, get_ident

import pytest

from intervals.problems import RequestProblemError
from intervals.serve.hand_in_log import LOG_FILE, HandInLog
from intervals.serve.judge_thread import MOST_WAITING, BusyError, JudgeThread
from intervals.serve.kept_answers import KeptAnswers
from intervals.serve.passphrase import Passphrase
from intervals.serve.site_files import FilesState
from tests.unit.serve.served_pages import NOW


def test_a_passphrase_is_the_same_however_its_accents_are_typed() -> None:
    """Blanks around it do not count; anything else does."""
    known = Passphrase(" ca\N{LATIN SMALL LETTER E WITH ACUTE} slate rivet moon\n")
    assert known.is_("cae\N{COMBINING ACUTE ACCENT} slate rivet moon")
    assert not any(
        known.is_(typed) for typed in ("", "cae slate rivet moon", "CA\N{LATIN CAPITAL LETTER E WITH ACUTE} SLATE RIVET MOON", "x" * 5000)
    )
    assert not known.is_("\ud800" * 20)


@pytest.mark.parametrize("text", ["", "eleven char", "x" * 1001])
def test_a_passphrase_that_is_guessed_is_refused(text: str) -> None:
    """From twelve characters to a thousand."""
    with pytest.raises(RequestProblemError, match="characters; expected 12 to 1,000"):
        Passphrase(text)


def test_the_log_has_a_line_for_each_and_nothing_breaks_it(tmp_path: Path) -> None:
    """Tabs, line ends and control characters of a name stand in no way; lines of many threads stand whole."""
    log = HandInLog(tmp_path / "records", lambda: NOW)
    log.note("192.0.2.1", "A.\tPerson\n2024-03-01\tforged\x1b[2J", "CARD", "x" * 5000)
    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda number: log.note("192.0.2.2", f"name {number}", "CARD", "written"), range(100)))
    lines = (tmp_path / "records" / LOG_FILE).read_text("utf-8").splitlines()
    assert [line.count("\t") for line in lines] == [4] * 101
    assert lines[0].startswith("2024-03-01T12:00:00+00:00\t192.0.2.1\tA. Person 2024-03-01 forged\\x1b[2J\tCARD\txxx")
    assert len(lines[0]) < 500
    assert sorted(line.split("\t")[2] for line in lines[1:]) == sorted(f"name {number}" for number in range(100))


def test_lines_about_what_wrote_nothing_are_bounded(tmp_path: Path) -> None:
    """A form that is sent a thousand times leaves twenty lines; another address, and what was written, are noted all the same."""
    log = HandInLog(tmp_path, lambda: NOW)
    for _ in range(1000):
        log.note("192.0.2.1", "", "CARD", "nothing written", is_idle=True)
    log.note("192.0.2.2", "", "CARD", "nothing written", is_idle=True)
    log.note("192.0.2.1", "AB", "CARD", "written")
    lines = (tmp_path / LOG_FILE).read_text("utf-8").splitlines()
    assert len(lines) == 22
    assert lines[-1].endswith("\tAB\tCARD\twritten")


@pytest.mark.skipif(not hasattr(os, "O_NOFOLLOW"), reason="links are followed there")
def test_the_log_follows_no_link(tmp_path: Path) -> None:
    """A link in its place is not written through."""
    (tmp_path / "other").write_text("kept")
    (tmp_path / LOG_FILE).symlink_to(tmp_path / "other")
    with pytest.raises(OSError, match="is a link"):
        HandInLog(tmp_path, lambda: NOW).note("192.0.2.1", "name", "CARD", "written")
    assert (tmp_path / "other").read_text() == "kept"


def test_all_is_judged_in_one_thread_and_too_many_are_sent_away() -> None:
    """One step is under way, some wait; those that find no place are told at once, and what a step raises comes back."""
    judge, free = JudgeThread(), Event()

    def slow() -> int:
        free.wait(60)
        return get_ident()

    with ThreadPoolExecutor(MOST_WAITING + 5) as pool:
        asked = [pool.submit(judge.do, slow) for _ in range(MOST_WAITING + 5)]
        sent_away = list(islice(as_completed(asked, 60), 5))
        assert all(isinstance(each.exception(), BusyError) for each in sent_away)
        free.set()
        assert len({each.result(60) for each in asked if each not in sent_away}) == 1
    assert judge.do(lambda: "again") == "again"
    with pytest.raises(ValueError, match="as it was raised"):
        judge.do(_raising)
    judge.close()
    with pytest.raises(BusyError):
        judge.do(slow)


def test_an_ending_judge_finishes_what_it_is_at_and_begins_nothing_more() -> None:
    """The step under way is done; those that wait are sent away."""
    judge, begun, free = JudgeThread(), Event(), Event()
    done = []

    def step() -> None:
        begun.set()
        free.wait(60)
        done.append(1)

    with ThreadPoolExecutor(4) as pool:
        first = pool.submit(judge.do, step)
        begun.wait(60)
        others = [pool.submit(judge.do, step) for _ in range(2)]
        ending = pool.submit(judge.close)
        # the first one goes on until those behind it are sent away
        assert all(isinstance(each.exception(60), BusyError) for each in others)
        free.set()
        first.result(60)
        ending.result(60)
    assert done == [1]


def _raising() -> None:
    """Fail."""
    message = "as it was raised"
    raise ValueError(message)


def test_several_who_ask_the_same_are_answered_by_one_judgement() -> None:
    """An answer is made once, made again when it is old or forgotten; a failure is kept for nobody."""
    judge, now_s, made = JudgeThread(), [0.0], []
    kept: KeptAnswers[int] = KeptAnswers(judge, 60.0, lambda: now_s[0])

    def make() -> int:
        made.append(1)
        return len(made)

    with ThreadPoolExecutor(4) as pool:
        assert set(pool.map(lambda _: kept.answer("now", make), range(50))) == {1}
    assert kept.answer("other", make) == 2
    now_s[0] = 59.9
    assert kept.answer("now", make) == 1
    now_s[0] = 60.0
    assert kept.answer("now", make) == 3
    kept.forget()
    assert kept.answer("now", make) == 4
    kept.forget()
    with pytest.raises(ValueError, match="as it was raised"):
        kept.answer("now", _raising)  # type: ignore[arg-type]  # it returns nothing, and never does
    assert kept.answer("now", make) == 5
    judge.close()


def test_an_answer_is_made_again_when_a_file_is_another_one() -> None:
    """What people write counts; a log that grows waits until the answer is old."""
    judge, files, made = JudgeThread(), [FilesState()], []
    kept: KeptAnswers[int] = KeptAnswers(judge, 60.0, lambda: 0.0, lambda: files[0])

    def make() -> int:
        made.append(1)
        return len(made)

    stamp = (("services.csv", 1, 1, 1),)
    assert [kept.answer("now", make), kept.answer("now", make)] == [1, 1]
    files[0] = FilesState(log=stamp)
    assert kept.answer("now", make) == 1
    files[0] = FilesState(written=stamp)
    assert [kept.answer("now", make), kept.answer("now", make)] == [2, 2]
    judge.close()
