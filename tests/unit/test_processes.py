"""Work shared among processes: results in order, errors as they were raised, nothing left behind."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import time
import warnings
from collections.abc import Callable
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import pytest

from intervals.problems import Problem, ReadingsProblemError
from intervals.processes import Helper, LostProcessError, each_in_its_process, map_in_processes, processes_for, processors

forks = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="processes are forked on Linux only")


@forks
@pytest.mark.parametrize("jobs", [1, 2, 3, 7])
def test_results_stand_in_the_items_order_with_any_number_of_processes(jobs: int) -> None:
    """The squares of 0 to 6."""
    assert map_in_processes(lambda item: item * item, range(7), jobs) == [0, 1, 4, 9, 16, 25, 36]


@forks
def test_the_items_are_shared_among_so_many_processes() -> None:
    """Seven items and three jobs: three different process numbers, this one's first."""
    numbers = map_in_processes(lambda _: os.getpid(), range(7), 3)
    assert len(set(numbers)) == 3
    assert numbers[0] == os.getpid()


@forks
def test_the_error_of_another_process_is_raised_here_with_its_problems() -> None:
    """The fifth item is refused: its problem arrives whole."""
    problem = Problem("REA001", "a.csv", 3, None, "no time", "write one")

    def refuse(item: int) -> int:
        if item == 4:
            raise ReadingsProblemError([problem])
        return item

    with pytest.raises(ReadingsProblemError) as caught:
        map_in_processes(refuse, range(7), 2)
    assert caught.value.problems == (problem,)


@forks
def test_an_error_that_cannot_travel_is_told_in_words() -> None:
    """An exception of a class that no other process can find."""

    class HiddenError(Exception):
        pass

    def fail() -> None:
        message = "sealed"
        raise HiddenError(message)

    with pytest.raises(LostProcessError, match="HiddenError: sealed"):
        Helper(fail).result()


@forks
def test_a_process_that_is_ended_from_outside_is_an_error_and_not_a_shorter_answer() -> None:
    """The helper kills itself in the midst of its part."""

    def die(item: int) -> int:
        if item == 6:
            os.kill(os.getpid(), signal.SIGKILL)
        return item

    with pytest.raises(LostProcessError, match="--jobs 1"):
        map_in_processes(die, range(7), 2)


def children() -> set[str]:
    """Return the processes that this one has started and not yet waited for."""
    return {pid for task in Path("/proc/self/task").iterdir() for pid in (task / "children").read_text(encoding="utf-8").split()}


@forks
def test_no_process_is_left_when_this_one_s_own_part_fails() -> None:
    """The first item fails here; afterwards there is no child more than before."""
    before = children()

    def fail(item: int) -> int:
        if item == 0:
            message = "here"
            raise ValueError(message)
        return item

    with pytest.raises(ValueError, match="here"):
        map_in_processes(fail, range(4), 2)
    assert children() == before


@forks
def test_arrays_arrive_as_they_were_and_may_be_written_to() -> None:
    """Arrays of several types and lengths, one of them empty."""
    sent = {"a": np.arange(5, dtype=np.int32), "b": np.array([0.5, np.nan]), "c": np.zeros(0), "d": np.arange(100_000)}
    found = Helper(lambda: sent).result()
    for name, array in sent.items():
        assert found[name].dtype == array.dtype
        np.testing.assert_array_equal(found[name], array)
    found["d"][0] = 7
    assert sent["d"][0] == 0


@forks
def test_arrays_of_nothing_arrive() -> None:
    """No memory is shared where there is nothing to lie in it; what has no rows can still be given some."""
    found = Helper(lambda: (np.zeros(0), np.zeros((0, 3), dtype=np.int32))).result()
    assert [(array.shape, array.dtype.name) for array in found] == [((0,), "float64"), ((0, 3), "int32")]


@forks
def test_nothing_stays_open() -> None:
    """As many open files after a result, an error and an early end as before."""

    def fail() -> None:
        message = "here"
        raise ValueError(message)

    before = set(Path("/proc/self/fd").iterdir())
    Helper(lambda: np.arange(1000)).result()
    with pytest.raises(ValueError, match="here"):
        Helper(fail).result()
    Helper(lambda: np.arange(1000)).end()
    assert set(Path("/proc/self/fd").iterdir()) == before


@forks
def test_few_items_are_done_by_one_process_unless_more_are_asked_for() -> None:
    """Three engines: one process; two where two are asked for, and never more than engines."""
    assert processes_for(3) == 1
    assert processes_for(3, jobs=2) == 2
    assert processes_for(3, jobs=8) == 3
    assert processes_for(0, jobs=8) == 1


def in_a_worker_of_a_pool(work: Callable[[], int]) -> int:
    """Return what is found inside a process as a pool makes its workers: one that may have no processes of its own."""
    context = get_context("fork")
    found, tell = context.Pipe(duplex=False)
    worker = context.Process(target=lambda: tell.send(work()), daemon=True)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        worker.start()
    number: int = found.recv()
    worker.join()
    return number


@forks
def test_a_worker_of_a_pool_makes_do_with_itself() -> None:
    """A worker of somebody's pool may not fork again: one process there, however many were asked for."""
    assert in_a_worker_of_a_pool(lambda: processes_for(100, jobs=4)) == 1
    assert in_a_worker_of_a_pool(processors) == 1


@forks
def test_an_interrupted_helper_ends_without_a_word(capfd: pytest.CaptureFixture[str]) -> None:
    """Who interrupts the program interrupts its helpers too: they print nothing, and the result is an error here."""

    def interrupt() -> None:
        raise KeyboardInterrupt

    with pytest.raises(LostProcessError):
        Helper(interrupt).result()
    assert capfd.readouterr().err == ""


@forks
def test_a_process_that_ends_while_it_sends_is_an_error() -> None:
    """More than a pipe holds is on its way when the helper is ended: half a result is none."""
    helper = Helper(lambda: bytes(40_000_000))
    assert helper._pipe.poll(60)
    helper._process.kill()
    with pytest.raises(LostProcessError, match="--jobs 1"):
        helper.result()
    helper.end()


@forks
@pytest.mark.parametrize("jobs", [1, 2, 9])
def test_each_item_has_a_process_of_its_own_and_fails_alone(jobs: int) -> None:
    """Of five items one raises and one kills its process; three others answer, each from a process that is not this one."""

    def work(item: int) -> int:
        if item == 1:
            message = "a slip"
            raise ValueError(message)
        if item == 3:
            os.kill(os.getpid(), signal.SIGKILL)
        return os.getpid()

    found = dict(each_in_its_process(work, range(5), jobs))
    assert {number: type(outcome) for number, outcome in found.items()} == {0: int, 1: ValueError, 2: int, 3: LostProcessError, 4: int}
    assert len({os.getpid(), found[0], found[2], found[4]}) == 4


@forks
def test_results_larger_than_a_pipe_holds_come_through_while_others_work() -> None:
    """A text of 3 MB from each of four processes, two at a time."""
    found = dict(each_in_its_process(lambda item: str(item) * 3_000_000, range(4), 2))
    assert {number: (str(text)[0], len(str(text))) for number, text in found.items()} == {n: (str(n), 3_000_000) for n in range(4)}


@forks
def test_who_stops_asking_leaves_no_process_behind() -> None:
    """The first answer is taken, the other process sleeps for a minute: it is ended."""
    asked = each_in_its_process(lambda item: time.sleep(60 * item), range(2), 2)
    assert next(asked) == (0, None)
    asked.close()
    assert multiprocessing.active_children() == []


def test_without_forks_this_process_does_each_item(monkeypatch: pytest.MonkeyPatch) -> None:
    """What fails stands in place of its result."""
    monkeypatch.setattr("intervals.processes._can_fork", lambda: False)
    found = dict(each_in_its_process(lambda item: 6 // item, range(3), 2))
    assert isinstance(found[0], ZeroDivisionError)
    assert (found[1], found[2]) == (6, 3)
