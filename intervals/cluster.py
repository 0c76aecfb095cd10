"""The seam to several machines: work done by the workers of a Dask cluster, its results brought back here.

In: the address of a scheduler, a function, what all of its calls share, and items. Out: the function's results, in the items' order.
Refuses (`RequestProblemError`, code CLI140) a cluster that cannot be used: the library is not installed, nobody answers, there are no
workers, or their program is another one than this.

What is shared travels once to each worker, an item to the worker that takes it, and only so many items are under way as the workers
can soon take: neither this process nor the scheduler holds them all. What the library itself would say on standard error is not said:
what concerns a person is reported as a problem.
"""

from __future__ import annotations

import asyncio
import logging
import warnings
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, Any, TypeVar

from intervals.problems import Problem, ProblemsError, RequestProblemError

if TYPE_CHECKING:
    from distributed import Client

Item = TypeVar("Item")
Result = TypeVar("Result")
Placed = Any
"""What a worker works out and keeps, as this process names it."""

CANNOT_BE_USED = "CLI140"
WAIT_S = 10.0
"""How long a scheduler may take to answer."""
LOOK_S = 15.0
"""How long a result may take until it is looked whether any worker is at work."""
ITEMS_A_THREAD = 3
"""So many items are under way for each thread of the workers: one at work, the others on their way."""
_SEE_LOGS = "see the workers' own logs; without --cluster this machine judges alone"


class WorkerError(RuntimeError):
    """What a worker was asked to do failed there, and not for anything that is wrong with a site."""


class Workers:
    """The workers of a cluster, connected.

    Args:
        client: the connection.
        address: the scheduler's address, for messages.
    """

    def __init__(self, client: Client, address: str) -> None:
        self._client = client
        self._address = address

    def map(
        self,
        function: Callable[..., Result],
        shared: object,
        items: Iterable[Item],
        held: Callable[[Item], Sequence[Placed]] | None = None,
    ) -> Iterator[Result]:
        """Yield the function's result for every item, in the items' order.

        Args:
            function: what to do with what is shared and an item; found by its name on the workers.
            shared: what every call needs.
            items: asked for as the workers can take them.
            held: what is placed with the workers and belongs to an item; the function is given a list of it besides.

        Raises:
            RequestProblemError: the workers or the scheduler were lost.
            ProblemsError: what the function raised, at the first item at which it did.
            WorkerError: it failed for anything else.
        """
        # not put down on the workers alone: whoever is left can be sent it again
        placed = self.begin(_same, shared)
        most = ITEMS_A_THREAD * max(1, self.threads())
        under_way: deque[Any] = deque()
        for item in items:
            under_way.append(self.begin(function, placed, item) if held is None else self.begin(function, placed, item, list(held(item))))
            if len(under_way) >= most:
                yield self.result(under_way.popleft())
        while under_way:
            yield self.result(under_way.popleft())

    def threads(self) -> int:
        """Return how many things the workers do at once."""
        return sum(self._asked(self._client.nthreads).values())

    def on_each(self, function: Callable[..., Result], *given: object) -> list[Result]:
        """Return what a function gives on each worker that is there now; one that goes meanwhile gives nothing."""
        found = self._asked(lambda: self._client.run(function, *given, on_error="return")).values()
        for each in found:
            if isinstance(each, Exception) and not isinstance(each, OSError):
                raise self._lost(each) from each
        return [each for each in found if not isinstance(each, Exception)]

    def begin(self, function: Callable[..., Any], *given: object) -> Placed:
        """Let a worker work something out, which stays there until nobody here holds it any more.

        Args:
            function: found by its name on the workers. A worker that dies takes its results with it, and they are worked out anew: what
                the function gives must depend on nothing but what it is given.
            given: to the function; what is placed with the workers, alone or in a list, is given as what it stands for.
        """
        return self._asked(lambda: self._client.submit(function, *given, pure=False))

    def result(self, placed: Placed) -> Any:  # noqa: ANN401 - whatever the function returns
        """Wait for a result, and return it; look now and then whether it can still come.

        Args:
            placed: from `begin`.

        Raises:
            RequestProblemError: the workers or the scheduler were lost.
            ProblemsError: what the function raised.
            WorkerError: it failed for anything else.
        """
        future = placed
        while True:
            try:
                return future.result(timeout=LOOK_S)
            except (Exception, asyncio.CancelledError) as error:
                # KilledWorker: an item that no worker survived
                if future.status == "error" and type(error).__name__ != "KilledWorker":
                    _raise_of_function(error)
                if future.status != "pending" or not isinstance(error, TimeoutError):
                    raise self._lost(error) from error
            self._look()

    def _look(self) -> None:
        """Refuse to go on waiting where no worker takes work."""
        states = [worker.get("status") for worker in self._asked(self._client.scheduler_info)["workers"].values()]
        if "running" not in states:
            what = "no worker takes work: they are short of memory, or closing" if states else "all workers are gone"
            raise _refused(self._address, f"the cluster was lost while it judged: {what}", _SEE_LOGS)

    def _asked(self, step: Callable[[], Any]) -> Any:  # noqa: ANN401 - whatever the library returns
        """Do a step of the library; what goes wrong with it is the cluster's loss."""
        try:
            return step()
        except (Exception, asyncio.CancelledError) as error:
            raise self._lost(error) from error

    def _lost(self, error: BaseException) -> RequestProblemError:
        """Return the refusal of a cluster that was lost."""
        # the library begins with its own name of the item
        why = _first_line(error).rpartition("reason: ")[2].rstrip(".")
        return _refused(self._address, f"the cluster was lost while it judged ({why})", _SEE_LOGS)


def _same(shared: Item) -> Item:
    """Return what is shared."""
    return shared


def _raise_of_function(error: BaseException) -> None:
    """Raise what the function raised on a worker."""
    if isinstance(error, ProblemsError):
        raise error
    message = f"on a worker of the cluster: {type(error).__name__}: {_first_line(error)}"
    raise WorkerError(message) from error


@contextmanager
def connected(address: str, program: Callable[[], str]) -> Iterator[Workers]:
    """Yield the workers of a cluster.

    Args:
        address: of its scheduler, such as `tcp://10.0.0.5:8786`.
        program: names the version of the program, here and on the workers; it stands in the module that they will work with.

    Raises:
        RequestProblemError: it cannot be used.
    """
    with _in_silence():
        try:
            from distributed import Client  # noqa: PLC0415 - only who has a cluster needs the library
        except ImportError:
            text = "the library for clusters, distributed, is not installed"
            raise _refused(address, text, "install it: pip install distributed") from None
        try:
            # the library itself waits for ever for what listens and stays silent
            asyncio.run(asyncio.wait_for(_greeted(address), WAIT_S))
            client = Client(address, timeout=WAIT_S, set_as_default=False)
        except Exception as error:
            text = f"no scheduler answers there ({_why_no_scheduler(error)})"
            raise _refused(address, text, "start one with `dask scheduler`, or state its address as tcp://HOST:PORT") from error
        try:
            _check_workers(client, address, program)
            yield Workers(client, address)
        finally:
            with suppress(Exception):
                client.close()


async def _greeted(address: str) -> None:
    """Return once a scheduler has answered.

    Raises:
        Exception: of any kind, where something else answers, or nothing.
    """
    from distributed.core import rpc  # noqa: PLC0415 - only who has a cluster needs the library
    from distributed.security import Security  # noqa: PLC0415 - likewise

    async with rpc(address, connection_args=Security().get_connection_args("client")) as remote:
        identity = await remote.identity()
    if identity.get("type") != "Scheduler":
        message = f"it is a {identity.get('type')}"
        raise ValueError(message)


@contextmanager
def _in_silence() -> Iterator[None]:
    """Keep the library's log and warnings, which come from its threads too, off standard error."""
    disabled = logging.root.manager.disable
    logging.disable(logging.CRITICAL)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    finally:
        logging.disable(disabled)


def _check_workers(client: Client, address: str, program: Callable[[], str]) -> None:
    """Refuse workers that are not there, cannot load this program or have another version of it."""
    try:
        answers = client.run(program)
    except Exception as error:
        fix = "install this version of the package, with its compiler setting, where the workers run"
        raise _refused(address, f"a worker cannot load the program: {_first_line(error)}", fix) from error
    if not answers:
        start = f"start some with `dask worker {address} --nthreads 1 --nworkers N`"
        raise _refused(address, "the cluster has no workers", start)
    others = sorted({answer for answer in answers.values() if answer != program()})
    if others:
        raise other_versions(address, others, program())


def other_versions(where: str, others: Sequence[str], own: str) -> RequestProblemError:
    """Return the refusal of workers of another version.

    Args:
        where: the cluster's address, or which worker.
        others: their versions.
        own: the version of who asks.
    """
    text = f"the workers have another version of the program: {', '.join(others)}; here it is {own}"
    return _refused(where, text, "install the same version everywhere: it is part of every answer")


def _refused(address: str, text: str, fix: str) -> RequestProblemError:
    """Return the refusal of a cluster."""
    return RequestProblemError([Problem(CANNOT_BE_USED, "--cluster", None, None, f"{address}: {text}", fix)])


def _why_no_scheduler(error: Exception) -> str:
    """Return what was met in place of a scheduler."""
    if isinstance(error, TimeoutError):
        return str(error) or f"no answer within {WAIT_S:g} s"
    # the first bytes are taken for a length
    return "something else does" if isinstance(error, MemoryError) else _first_line(error)


def _first_line(error: BaseException) -> str:
    """Return what an error says, in one line."""
    said = str(error).strip().split("\n")[0]
    return said or type(error).__name__
