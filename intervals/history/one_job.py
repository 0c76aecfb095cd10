"""One job under several rule sets: doing a task of one of them does its fellows in the others.

In: the rule sets that judge one engine, what they and the site say is one job, and each set's settled records. Out: the records, in which
each completion stands under every task of its group, at the same instant and by the same record. Deferrals, jobs in part and analyses
stay with the rule set that they were written for. Refuses nothing.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from intervals.history.engine_records import Completion, EngineRecords, LoggedRun, completion_put
from intervals.rules.ruleset import RuleSet

Node = tuple[int, str]
"""Which of the engine's rule sets, and the id of a task of it."""
ByInstant = dict[int, Completion]


def task_of_set(ruleset: str, task: str) -> str:
    """Return how a task of a named rule set is written.

    Example:
        >>> task_of_set("standby-hospital", "oil-change")
        'standby-hospital.oil-change'
    """
    return f"{ruleset}.{task}"


def groups_of(pairs: Iterable[Sequence[str]]) -> list[tuple[str, ...]]:
    """Return groups that have no word in common, each in the order of its words.

    Args:
        pairs: groups as they are written, which may share words: what is one job with the same job is one job.

    Example:
        >>> groups_of([("a.x", "b.y"), ("c.z", "b.y"), ("a.u", "b.v")])
        [('a.x', 'b.y', 'c.z'), ('a.u', 'b.v')]
    """
    found: list[dict[str, None]] = []
    for words in pairs:
        joined = dict.fromkeys(words)
        apart = []
        for group in found:
            if joined.keys().isdisjoint(group):
                apart.append(group)
            else:
                joined = {**group, **joined}
        found = [*apart, joined]
    return [tuple(group) for group in found]


@dataclass(frozen=True)
class OneJobs:
    """Which tasks of an engine's rule sets are one job.

    Attributes:
        rulesets: the rule sets, in the order in which the site lists them.
        said: groups that the site states (`one_job`).
    """

    rulesets: Sequence[RuleSet]
    said: Sequence[Sequence[str]] = ()

    @cached_property
    def fellows(self) -> Mapping[Node, tuple[Node, ...]]:
        """For each task that is one job with others: those others; what an engine's rule sets do not have is left out."""
        nodes: dict[str, Node] = {}
        pairs: list[Sequence[str]] = [*self.said]
        for place, ruleset in enumerate(self.rulesets):
            for task in ruleset.tasks:
                word = task_of_set(ruleset.ruleset, task.id)
                nodes[word] = place, task.id
                if task.same_as:
                    pairs.append((word, *task.same_as))
        here = [tuple(nodes[word] for word in group if word in nodes) for group in groups_of(pairs)]
        return {node: tuple(other for other in group if other != node) for group in here if len(group) > 1 for node in group}

    def shared(self, records: Sequence[EngineRecords], *, of_records_alone: bool = False) -> list[EngineRecords]:
        """Return the records of each rule set with what the others' completions complete in it.

        Args:
            records: the settled records of each rule set.
            of_records_alone: leave out what renewal brings: it follows once the runs of the log are known.
        """
        if not self.fellows:
            return list(records)
        by_set: list[dict[str, ByInstant]] = [
            {task: {entry.at_us: entry for entry in entries} for task, entries in each.completions.items()} for each in records
        ]
        waiting = deque(self._to_share(by_set, of_records_alone=of_records_alone))
        while waiting:
            (place, task), entry = waiting.popleft()
            for other_place, other in self.fellows[place, task]:
                more = self._put(by_set[other_place], (place, task), (other_place, other), entry)
                waiting += [] if of_records_alone else more
        return [
            replace(each, completions={task: tuple(row[at_us] for at_us in sorted(row)) for task, row in found.items()})
            for each, found in zip(records, by_set, strict=True)
        ]

    def _to_share(self, by_set: Sequence[Mapping[str, ByInstant]], *, of_records_alone: bool) -> Iterator[tuple[Node, Completion]]:
        """Yield the completions of tasks that are one job with others."""
        for place, task in self.fellows:
            for entry in by_set[place].get(task, {}).values():
                if not of_records_alone or entry.by == task:
                    yield (place, task), entry

    def _put(self, found: dict[str, ByInstant], source: Node, target: Node, entry: Completion) -> list[tuple[Node, Completion]]:
        """Complete a task, and all that it renews, by a completion of its fellow; return what is new and has fellows of its own."""
        (place, task), (other_place, other) = source, target
        ruleset = self.rulesets[place]
        by = other if entry.by == task else task_of_set(ruleset.ruleset, entry.by) if entry.by in ruleset.renewed else entry.by
        more: list[tuple[Node, Completion]] = []
        made = entry._replace(by=by, one_job=task_of_set(ruleset.ruleset, task), began_us=None, began_day=None)
        for renewed, makes_new in self.rulesets[other_place].renewed[other].items():
            row = found.setdefault(renewed, {})
            is_new = made.at_us not in row
            completion_put(row, made._replace(task=renewed, makes_new=makes_new or (renewed == other and entry.makes_new)))
            if is_new and (other_place, renewed) in self.fellows:
                more.append(((other_place, renewed), row[made.at_us]))
        return more

    def runs(self, found: Sequence[Mapping[str, Sequence[LoggedRun]]]) -> list[dict[str, list[LoggedRun]]]:
        """Return the runs of each rule set with those that complete a fellow of its tasks, in order of time.

        A fellow's run that overlaps a run of the task's own tells of the same running; the own one counts.

        Args:
            found: for each rule set, its tasks' runs that the log proves.
        """
        joined: list[dict[str, list[LoggedRun]]] = [{task: list(runs) for task, runs in each.items()} for each in found]
        for (place, task), fellows in self.fellows.items():
            for other_place, other in fellows:
                own = joined[place].setdefault(task, [])
                for run in found[other_place].get(other, ()):
                    if not any(mine.start_us <= run.at_us and run.start_us <= mine.at_us for mine in own):
                        own.append(run)
                own.sort(key=lambda run: run.at_us)
        return [{task: runs for task, runs in each.items() if runs} for each in joined]
