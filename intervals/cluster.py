"""The seam to several machines: work done by the workers of a Dask cluster, its results brought back here.

In: the address of a scheduler, a function, what all of its calls share, and items. Out: the function's results, in the items' order.
Refuses (`RequestProblemError`, code CLI140) a cluster that cannot be used: the library is not installed, nobody answers, there are no
workers, or their program is another one than this.

What is shared travels once to each worker, an item to the worker that takes it, and only so many items are under way as the workers
can soon take: neither this process nor the scheduler holds them all.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, Any, TypeVar

from intervals.problems import Problem, RequestProblemError

if TYPE_CHECKING:
    from distributed import Client

Item = TypeVar("Item")
Result = TypeVar("Result")
Shared = TypeVar("Shared")

CANNOT_BE_USED = "CLI140"
WAIT_S = 10
"""How long a scheduler may take to answer."""
ITEMS_A_THREAD = 3
"""So many items are under way for each thread of the workers: one at work, the others on their way."""


class Workers:
    """The workers of a cluster, connected.

    Args:
        client: the connection.
        address: the scheduler's address, for messages.
    """

    def __init__(self, client: Client, address: str) -> None:
        self._client = client
        self._address = address

    def map(self, function: Callable[[Shared, Item], Result], shared: Shared, items: Iterable[Item]) -> Iterator[Result]:
        """Yield the function's result for every item, in the items' order.

        Args:
            function: what to do with what is shared and an item; found by its name on the workers.
            shared: what every call needs.
            items: asked for as the workers can take them.

        Raises:
            RequestProblemError: the workers or the scheduler were lost.
            Exception: what the function raised, at the first item at which it did.
        """
        with _told_as_lost(self._address):
            placed = self._client.scatter(shared, broadcast=True, hash=False)
            most = ITEMS_A_THREAD * max(1, sum(self._client.nthreads().values()))
            under_way: deque[Any] = deque()
            for item in items:
                under_way.append(self._client.submit(function, placed, item, pure=False))
                if len(under_way) >= most:
                    yield under_way.popleft().result()
            while under_way:
                yield under_way.popleft().result()


@contextmanager
def connected(address: str) -> Iterator[Workers]:
    """Yield the workers of a cluster.

    Args:
        address: of its scheduler, such as `tcp://10.0.0.5:8786`.

    Raises:
        RequestProblemError: it cannot be used.
    """
    try:
        from distributed import Client  # noqa: PLC0415 - only who has a cluster needs the library
    except ImportError:
        fix = "install it: pip install distributed"
        raise _refused(address, "the library for clusters, distributed, is not installed", fix) from None
    try:
        client = Client(address, timeout=WAIT_S, set_as_default=False)
    except (OSError, ValueError, TypeError) as error:
        text = f"no scheduler answers there ({_first_line(error)})"
        raise _refused(address, text, "start one with `dask scheduler`, or state its address as tcp://HOST:PORT") from None
    try:
        _check_workers(client, address)
        yield Workers(client, address)
    finally:
        with suppress(OSError):
            client.close()


def program() -> str:
    """Return the version of the program that answers, once it has loaded what judging needs."""
    import intervals.judge.engine_groups  # noqa: PLC0415 - where a worker lacks something, it is told before any work is sent

    return intervals.__version__


def _check_workers(client: Client, address: str) -> None:
    """Refuse workers that are not there, cannot load this program or have another version of it."""
    try:
        answers = client.run(program)
    except Exception as error:  # noqa: BLE001 - whatever keeps a worker from loading the program
        fix = "install this version of the package, with its compiler setting, where the workers run"
        raise _refused(address, f"a worker cannot load the program: {_first_line(error)}", fix) from None
    if not answers:
        start = f"start some with `dask worker {address} --nthreads 1 --nworkers N`"
        raise _refused(address, "the cluster has no workers", start)
    own = program()
    others = sorted({answer for answer in answers.values() if answer != own})
    if others:
        text = f"the workers have another version of the program: {', '.join(others)}; here it is {own}"
        raise _refused(address, text, "install the same version everywhere: it is part of every answer")


@contextmanager
def _told_as_lost(address: str) -> Iterator[None]:
    """Turn what the library raises when it loses workers or the scheduler into a problem."""
    from distributed import CancelledError, KilledWorker  # noqa: PLC0415 - only who has a cluster needs the library

    try:
        yield
    except (OSError, CancelledError, KilledWorker) as error:
        text = f"the cluster was lost while it judged: {_first_line(error)}"
        raise _refused(address, text, "see the workers' own logs; without --cluster this machine judges alone") from None


def _refused(address: str, text: str, fix: str) -> RequestProblemError:
    """Return the refusal of a cluster."""
    return RequestProblemError([Problem(CANNOT_BE_USED, "--cluster", None, None, f"{address}: {text}", fix)])


def _first_line(error: BaseException) -> str:
    """Return what an error says, in one line."""
    said = str(error).strip().split("\n")[0]
    return said or type(error).__name__
