"""Work shared among the workers of a cluster: results in order, refusals and losses in words."""

from __future__ import annotations

import asyncio
import logging
import socket
import sys
import warnings
from collections.abc import Callable, Iterator
from contextlib import suppress
from threading import Thread
from types import SimpleNamespace
from typing import Any

import pytest

import intervals
from intervals import cluster
from intervals.cluster import WorkerError, Workers, connected
from intervals.problems import Problem, ReadingsProblemError, RequestProblemError
from intervals.questions.check.engine_groups import program

ADDRESS = "tcp://10.0.0.5:8786"


class MadeFuture:
    """What is worked out when it is asked for, the first few times in vain."""

    def __init__(self, work: Callable[[], Any], asked: list[int], in_vain: int = 0) -> None:
        self._work = work
        self._asked = asked
        self._in_vain = in_vain
        self.status = "pending"

    def result(self, timeout: float) -> object:
        """Return the result."""
        assert timeout == cluster.LOOK_S
        if self._in_vain:
            self._in_vain -= 1
            raise TimeoutError
        self._asked.append(1)
        try:
            done = self._work()
        except asyncio.CancelledError:
            self.status = "cancelled"
            raise
        except Exception:
            self.status = "error"
            raise
        self.status = "finished"
        return done


class MadeClient:
    """A cluster of as many threads as wished, which does its work here."""

    def __init__(
        self, threads: int = 1, answers: dict[str, str] | None = None, error: Exception | None = None, states: tuple[str, ...] = ()
    ) -> None:
        self.threads = threads
        self.states = states
        self.answers = {"tcp://a": intervals.__version__} if answers is None else answers
        self.error = error
        self.asked: list[int] = []
        self.most_under_way = self.submitted = 0
        self.is_closed = False

    def nthreads(self) -> dict[str, int]:
        """Return the threads of the only worker."""
        return {"tcp://a": self.threads}

    def submit(self, function: Callable[..., Any], *given: Any, pure: bool) -> Any:  # noqa: ANN401 - what is shared, or what will come
        """Take an item; what is shared is given back as it is."""
        assert not pure
        if len(given) == 1:
            return given[0]
        shared, item = given
        self.submitted += 1
        self.most_under_way = max(self.most_under_way, self.submitted - len(self.asked))
        return MadeFuture(lambda: function(shared, item), self.asked, in_vain=2 if self.states else 0)

    def scheduler_info(self) -> dict[str, object]:
        """Return the states of the workers."""
        return {"workers": {str(number): {"status": state} for number, state in enumerate(self.states)}}

    def run(self, _function: Callable[[], str]) -> dict[str, str]:
        """Return what the workers answer."""
        if self.error is not None:
            raise self.error
        return self.answers

    def close(self) -> None:
        """Close the connection."""
        self.is_closed = True


def multiplied(shared: int, item: int) -> int:
    """Return the product."""
    return shared * item


@pytest.mark.parametrize("threads", [0, 1, 4])
@pytest.mark.parametrize("count", [0, 1, 30])
def test_results_stand_in_the_items_order(threads: int, count: int) -> None:
    """Every item is done once, and no more of them are under way than the workers can soon take."""
    client: Any = MadeClient(threads)
    assert list(Workers(client, ADDRESS).map(multiplied, 3, range(count))) == [3 * item for item in range(count)]
    assert client.submitted == len(client.asked) == count
    assert client.most_under_way <= cluster.ITEMS_A_THREAD * max(1, threads)


def test_items_are_asked_for_as_they_can_be_taken() -> None:
    """The first result is there before the last item is made."""
    made: list[int] = []

    def items() -> Iterator[int]:
        for item in range(100):
            made.append(item)
            yield item

    client: Any = MadeClient()
    assert next(Workers(client, ADDRESS).map(multiplied, 2, items())) == 0
    assert len(made) == cluster.ITEMS_A_THREAD


def test_what_the_function_refuses_arrives_as_it_is() -> None:
    """Its problems are not taken for those of the cluster."""

    def refuse(_shared: int, _item: int) -> int:
        raise ReadingsProblemError([Problem("REA001", "a.csv", 3, None, "no time", "write one")])

    client: Any = MadeClient()
    with pytest.raises(ReadingsProblemError, match="REA001"):
        list(Workers(client, ADDRESS).map(refuse, 0, [1]))


def test_what_else_the_function_raises_is_told_as_the_workers() -> None:
    """An error of its own on a worker is none of the cluster's, and none of this machine's memory or files."""

    def fail(_shared: int, _item: int) -> int:
        raise FileNotFoundError(2, "No such file", "/usr/share/zoneinfo/Foo")

    client: Any = MadeClient()
    with pytest.raises(WorkerError, match=r"^on a worker of the cluster: FileNotFoundError: .*zoneinfo/Foo"):
        list(Workers(client, ADDRESS).map(fail, 0, [1]))


def test_what_the_items_raise_is_left_as_it_is() -> None:
    """Rows that cannot be gathered here are no loss of the cluster."""

    def items() -> Iterator[int]:
        yield 1
        raise FileNotFoundError(2, "gone")

    client: Any = MadeClient()
    with pytest.raises(FileNotFoundError):
        list(Workers(client, ADDRESS).map(multiplied, 0, items()))


class KilledWorker(Exception):  # noqa: N818 - the library's own name
    """What the library raises for an item that ended several workers; it is known by its name."""


@pytest.mark.parametrize("error", [asyncio.CancelledError("forgotten\nand more"), KilledWorker("forgotten")])
def test_lost_workers_are_a_problem(error: BaseException) -> None:
    """Items that are given up, as when the scheduler goes, and one that no worker survives."""

    def lose(_shared: int, _item: int) -> int:
        raise error

    client: Any = MadeClient()
    with pytest.raises(RequestProblemError, match=r"CLI140 .*\n.* was lost while it judged \(forgotten\)\n"):
        list(Workers(client, ADDRESS).map(lose, 0, [1]))


def test_what_is_shared_cannot_be_sent() -> None:
    """A scheduler that goes before any work is sent."""

    class GoneClient(MadeClient):
        def submit(self, function: Callable[..., Any], *given: Any, pure: bool) -> Any:  # noqa: ANN401 - it never returns
            del function, given, pure
            raise OSError("gone")  # noqa: EM101 - as short as can be

    client: Any = GoneClient()
    with pytest.raises(RequestProblemError, match=r"CLI140 .*\n.* was lost while it judged \(gone\)"):
        list(Workers(client, ADDRESS).map(multiplied, 0, [1]))


def test_a_long_wait_is_no_loss_while_a_worker_runs() -> None:
    """One worker rests, the other one runs: the results come in the end."""
    client: Any = MadeClient(states=("paused", "running"))
    assert list(Workers(client, ADDRESS).map(multiplied, 2, [1, 2])) == [2, 4]


@pytest.mark.parametrize(
    ("states", "said"),
    [(("paused", "paused"), "no worker takes work: they are short of memory, or closing"), (("closing",), "no worker takes work")],
)
def test_nobody_is_waited_for_who_takes_no_work(states: tuple[str, ...], said: str) -> None:
    """Where no worker runs, nothing will come."""
    client: Any = MadeClient(states=states)
    with pytest.raises(RequestProblemError, match=rf"CLI140 .*\n.* was lost while it judged: .*{said}"):
        list(Workers(client, ADDRESS).map(multiplied, 2, [1]))


@pytest.fixture
def connect(monkeypatch: pytest.MonkeyPatch) -> Callable[[MadeClient | Exception], None]:
    """Return what lets the library connect to a made cluster, or fail."""

    def use(made: MadeClient | Exception) -> None:
        def client(address: str, **_options: object) -> MadeClient:
            assert address == ADDRESS
            if isinstance(made, Exception):
                raise made
            return made

        async def greeted(address: str) -> None:
            assert address == ADDRESS

        monkeypatch.setattr(cluster, "_greeted", greeted)
        monkeypatch.setitem(sys.modules, "distributed", SimpleNamespace(Client=client))

    return use


def test_a_cluster_is_left_again(connect: Callable[[MadeClient], None]) -> None:
    """Workers of this very version are taken; the connection is closed at the end, and after an error too."""
    made = MadeClient()
    connect(made)
    with connected(ADDRESS, program) as workers:
        assert isinstance(workers, Workers)
        assert not made.is_closed
    assert made.is_closed


@pytest.mark.parametrize(
    ("made", "said"),
    [
        (OSError("Timed out trying to connect\nfor 10 s"), r"no scheduler answers there \(Timed out trying to connect\)"),
        (ValueError("unknown address scheme 'htp'"), "no scheduler answers there"),
        (MemoryError("Unable to allocate 2.8 EiB"), "no scheduler answers there"),
        (MadeClient(answers={}), "the cluster has no workers\n.*dask worker tcp://10.0.0.5:8786"),
        (MadeClient(answers={"tcp://a": "0.0.1", "tcp://b": intervals.__version__}), "another version of the program: 0.0.1; here it is"),
        (MadeClient(error=ModuleNotFoundError("No module named 'intervals'")), "a worker cannot load the program: No module named"),
    ],
)
def test_a_cluster_that_cannot_be_used(connect: Callable[[object], None], made: MadeClient | Exception, said: str) -> None:
    """Each is refused with what is wrong and what to do, and the connection is closed."""
    connect(made)
    with pytest.raises(RequestProblemError, match=rf"CLI140 --cluster\n    {ADDRESS}: .*{said}"), connected(ADDRESS, program):
        pytest.fail("it was used")
    assert isinstance(made, Exception) or made.is_closed


@pytest.mark.parametrize("said", [b"", b"SSH-2.0-Server\r\n", b"HTTP/1.1 400 Bad\r\n\r\n"])
def test_something_else_answers_or_nothing(monkeypatch: pytest.MonkeyPatch, said: bytes) -> None:
    """What listens and stays silent is not waited for for ever; what speaks otherwise is no scheduler."""
    monkeypatch.setattr(cluster, "WAIT_S", 0.5)
    kept: list[socket.socket] = []
    with socket.create_server(("127.0.0.1", 0)) as server:

        def answer() -> None:
            with suppress(OSError):
                while True:
                    caller, _ = server.accept()
                    kept.append(caller)
                    caller.sendall(said)

        Thread(target=answer, daemon=True).start()
        address = f"tcp://127.0.0.1:{server.getsockname()[1]}"
        with pytest.raises(RequestProblemError, match=r"CLI140 --cluster\n.*: no scheduler answers there"), connected(address, program):
            pytest.fail("it was used")
        server.shutdown(socket.SHUT_RDWR)
    for caller in kept:
        caller.close()


def test_the_library_is_silent_while_connected(connect: Callable[[MadeClient], None], capfd: pytest.CaptureFixture[str]) -> None:
    """Its log and its warnings, from whatever thread, do not reach standard error; afterwards those of others do again."""
    connect(MadeClient())

    def tell() -> None:
        logging.getLogger("distributed.client").critical("Failed to reconnect")
        warnings.warn("Sending large graph", stacklevel=1)

    with connected(ADDRESS, program):
        thread = Thread(target=tell)
        thread.start()
        thread.join()
    assert capfd.readouterr().err == ""
    with pytest.warns(UserWarning, match="again"):
        warnings.warn("again", stacklevel=1)
    assert logging.getLogger("distributed.client").isEnabledFor(logging.CRITICAL)


def test_without_the_library(monkeypatch: pytest.MonkeyPatch) -> None:
    """Who has not installed it is told how."""
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(RequestProblemError, match=r"not installed\n.*pip install distributed"), connected(ADDRESS, program):
        pytest.fail("it was used")
