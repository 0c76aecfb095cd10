"""Engines in groups: each has all that judging needs, and what it finds is what is found of the whole site."""

from __future__ import annotations

import pickle
from collections.abc import Callable, Iterable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from intervals.history.inputs import Inputs, read_inputs
from intervals.problems import RequestProblemError
from intervals.questions.check import engine_groups
from intervals.questions.check.assess import judge_inputs
from intervals.questions.check.engine_groups import Shared, groups_of, judge_group, program
from intervals.questions.check.findings_document import findings_text
from intervals.rulebook.rulebook import RuleBook
from intervals.site.model import load_site
from tests.site_maker import done, steady, task, write_site

AS_OF = date(2026, 10, 31)


class TravellingWorkers:
    """Workers in this process, to whom everything travels as it would to another machine."""

    def __init__(self) -> None:
        self.sent_bytes: list[int] = []

    def map(self, function: Callable[[Any, Any], Any], shared: object, items: Iterable[object]) -> Iterator[Any]:
        """Yield the results."""
        placed = pickle.loads(pickle.dumps(shared, pickle.HIGHEST_PROTOCOL))
        named = pickle.loads(pickle.dumps(function))
        for item in items:
            sent = pickle.dumps(item, pickle.HIGHEST_PROTOCOL)
            self.sent_bytes.append(len(sent))
            yield pickle.loads(pickle.dumps(named(placed, pickle.loads(sent))))


def inputs_of(folder: str) -> Inputs:
    """Return the inputs of a sample site."""
    return read_inputs(load_site(Path(folder)), AS_OF)


@pytest.mark.parametrize("sample", ["brackwater", "harbour-clinic", "skerry-island"])
@pytest.mark.parametrize(("engines", "month"), [(1, None), (2, "2026-09"), (64, None)])
def test_groups_find_what_is_found_of_the_whole(monkeypatch: pytest.MonkeyPatch, sample: str, engines: int, month: str | None) -> None:
    """Groups of one, of two, and one of all give the same document as one process does: components, laboratory and faults included."""
    monkeypatch.setattr(engine_groups, "MOST_ENGINES", engines)
    inputs = inputs_of(f"sample_logs/{sample}")
    workers: Any = TravellingWorkers()
    found = judge_inputs(inputs, workers=workers, month=month)
    assert findings_text(found) == findings_text(judge_inputs(inputs, jobs=1, month=month))
    assert len(workers.sent_bytes) == -(-len(inputs.site.judged_units) // engines)


def test_a_group_is_sent_no_rows_but_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    """A hundred rows a group at most: an engine each, as each has more; all groups together have the rows of the log once."""
    monkeypatch.setattr(engine_groups, "MOST_ROWS", 100)
    inputs = inputs_of("sample_logs/brackwater")
    indices = range(len(inputs.site.engines))
    groups = list(groups_of(inputs, indices))
    assert [group.indices for group in groups] == [(index,) for index in indices]
    rows = [sum(len(block) for block in group.readings.blocks) for group in groups]
    assert min(rows) > 100
    assert sum(rows) == sum(len(block) for block in inputs.readings.blocks)
    assert [set(group.records) for group in groups] == [{engine.id} & set(inputs.records) for engine in inputs.site.engines]


def test_a_component_brings_the_rows_of_the_engines_that_it_sat_on(tmp_path: Path) -> None:
    """A turbocharger that moved from G1 to G3: its group has the rows of both, and not those of G2."""
    rows = [row for name in ("G1", "G2", "G3") for row in steady("2026-01-01", "2026-01-10", 10, engine=name)]
    site = write_site(
        tmp_path,
        [task(every={"running_hours": 50}, applies_to={"kind": "turbocharger"})],
        rows,
        services=[done("oil", "2026-01-02")],
        engines=[{"id": name, "in_service": "2026-01-01"} for name in ("G1", "G2", "G3")],
        components=[
            {
                "id": "TC-1",
                "kind": "turbocharger",
                "fitted": [{"engine": "G1", "from": "2026-01-01", "to": "2026-01-05"}, {"engine": "G3", "from": "2026-01-06"}],
            }
        ],
    )
    inputs = read_inputs(site, date(2026, 1, 10))
    (group,) = groups_of(inputs, [3])
    assert [block.of_engine(engine) is None for block in group.readings.blocks for engine in range(3)] == [False, True, False]
    workers: Any = TravellingWorkers()
    found = judge_inputs(inputs, engines=["TC-1"], workers=workers)
    assert findings_text(found) == findings_text(judge_inputs(inputs, engines=["TC-1"], jobs=1))
    assert [finding.engine for finding in found.findings] == ["TC-1"]


def test_how_far_it_is_is_told() -> None:
    """The share done rises with each group and ends at the whole."""
    told: list[float] = []
    workers: Any = TravellingWorkers()
    judge_inputs(inputs_of("sample_logs/skerry-island"), workers=workers, progress=lambda _stage, share: told.append(share))
    assert told == sorted(told)
    assert told[-1] == 1.0


def test_a_worker_compiles_equal_rule_sets_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """What durable-rules holds of rules is never given back: a second check of the site, sent anew, is judged by the rules of the first."""
    kept: list[RuleBook] = []
    monkeypatch.setattr(engine_groups, "_BOOKS", kept)
    workers: Any = TravellingWorkers()
    first = findings_text(judge_inputs(inputs_of("sample_logs/skerry-island"), workers=workers))
    books = [*kept]
    judged = [book.duty.situations_judged for book in books]
    assert findings_text(judge_inputs(inputs_of("sample_logs/skerry-island"), workers=workers)) == first
    assert [id(book) for book in kept] == [id(book) for book in books]
    assert [book.duty.situations_judged for book in kept] == judged
    judge_inputs(inputs_of("sample_logs/brackwater"), workers=workers)
    assert len(kept) > len(books)


def test_work_for_another_version_is_refused() -> None:
    """A worker that came after it had been asked for its version."""
    inputs = inputs_of("sample_logs/skerry-island")
    group = next(groups_of(inputs, [0]))
    assert Shared(inputs, None, (), None).version == program()
    with pytest.raises(RequestProblemError, match="another version of the program"):
        judge_group(Shared(inputs, None, (), None, version="0.0.1"), group)
