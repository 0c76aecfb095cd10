"""Work shared among the workers of a cluster: results in order, refusals and losses in words."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from types import SimpleNamespace
from typing import Any

import pytest

import intervals
from intervals import cluster
from intervals.cluster import Workers, connected
from intervals.problems import Problem, ReadingsProblemError, RequestProblemError

ADDRESS = "tcp://10.0.0.5:8786"


class MadeFuture:
    """What is worked out when it is asked for."""

    def __init__(self, work: Callable[[], Any], asked: list[int]) -> None:
        self._work = work
        self._asked = asked

    def result(self) -> object:
        """Return the result."""
        self._asked.append(1)
        return self._work()


class MadeClient:
    """A cluster of as many threads as wished, which does its work here."""

    def __init__(self, threads: int = 1, answers: dict[str, str] | None = None, error: Exception | None = None) -> None:
        self.threads = threads
        self.answers = {"tcp://a": intervals.__version__} if answers is None else answers
        self.error = error
        self.asked: list[int] = []
        self.most_under_way = self.submitted = 0
        self.is_closed = False

    def scatter(self, shared: object, **_options: object) -> object:
        """Return what is shared."""
        return shared

    def nthreads(self) -> dict[str, int]:
        """Return the threads of the only worker."""
        return {"tcp://a": self.threads}

    def submit(self, function: Callable[[Any, Any], Any], shared: object, item: object, *, pure: bool) -> MadeFuture:
        """Take an item."""
        assert not pure
        self.submitted += 1
        self.most_under_way = max(self.most_under_way, self.submitted - len(self.asked))
        return MadeFuture(lambda: function(shared, item), self.asked)

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


def test_lost_workers_are_a_problem() -> None:
    """A connection that breaks, as when the scheduler goes."""

    def lose(_shared: int, _item: int) -> int:
        message = "in <TCP>: Stream is closed\nand more"
        raise ConnectionResetError(message)

    client: Any = MadeClient()
    with pytest.raises(
        RequestProblemError, match=r"CLI140 --cluster\n.*the cluster was lost while it judged: in <TCP>: Stream is closed\n"
    ):
        list(Workers(client, ADDRESS).map(lose, 0, [1]))


@pytest.fixture
def connect(monkeypatch: pytest.MonkeyPatch) -> Callable[[MadeClient | Exception], None]:
    """Return what lets the library connect to a made cluster, or fail."""

    def use(made: MadeClient | Exception) -> None:
        def client(address: str, **_options: object) -> MadeClient:
            assert address == ADDRESS
            if isinstance(made, Exception):
                raise made
            return made

        monkeypatch.setitem(sys.modules, "distributed", SimpleNamespace(Client=client))

    return use


def test_a_cluster_is_left_again(connect: Callable[[MadeClient], None]) -> None:
    """Workers of this very version are taken; the connection is closed at the end, and after an error too."""
    made = MadeClient()
    connect(made)
    with connected(ADDRESS) as workers:
        assert isinstance(workers, Workers)
        assert not made.is_closed
    assert made.is_closed


@pytest.mark.parametrize(
    ("made", "said"),
    [
        (OSError("Timed out trying to connect\nfor 10 s"), r"no scheduler answers there \(Timed out trying to connect\)"),
        (ValueError("unknown address scheme 'htp'"), "no scheduler answers there"),
        (MadeClient(answers={}), "the cluster has no workers\n.*dask worker tcp://10.0.0.5:8786"),
        (MadeClient(answers={"tcp://a": "0.0.1", "tcp://b": intervals.__version__}), "another version of the program: 0.0.1; here it is"),
        (MadeClient(error=ModuleNotFoundError("No module named 'intervals'")), "a worker cannot load the program: No module named"),
    ],
)
def test_a_cluster_that_cannot_be_used(connect: Callable[[object], None], made: MadeClient | Exception, said: str) -> None:
    """Each is refused with what is wrong and what to do, and the connection is closed."""
    connect(made)
    with pytest.raises(RequestProblemError, match=rf"CLI140 --cluster\n    {ADDRESS}: .*{said}"), connected(ADDRESS):
        pytest.fail("it was used")
    assert isinstance(made, Exception) or made.is_closed


def test_without_the_library(monkeypatch: pytest.MonkeyPatch) -> None:
    """Who has not installed it is told how."""
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(RequestProblemError, match=r"not installed\n.*pip install distributed"), connected(ADDRESS):
        pytest.fail("it was used")


def test_the_program_answers_with_its_version() -> None:
    """What the workers are asked."""
    assert cluster.program() == intervals.__version__
