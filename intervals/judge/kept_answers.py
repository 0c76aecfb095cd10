"""What was found of engines before: where an engine's rows, records and rules are as they were, it is not judged again.

In: a site's `Inputs` and what is asked, the user's cache. Out: a `JudgedSoFar` for each engine whose answer is kept; an entry with the
answers of all. Refuses nothing: what is not kept, or not whole, is judged again.

An answer rests on the digest of everything that judging an engine is given, as another machine is sent it (`engine_groups.py`), of the site
file and of the rule sets. It is kept for a moment that comes again: a day, not this very second. What counts towards a budget over the
whole site is not kept.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from intervals.faults import faults_of_plain, plain_faults
from intervals.history.inputs import Inputs
from intervals.judge.compliance import Month
from intervals.judge.found_text import FoundText
from intervals.judge.judged_so_far import JudgedSoFar
from intervals.program_digest import program_digest, zone_digest
from intervals.readings import Analysis
from intervals.user_cache import Entry, UserCache, cache_of_run

KIND = "answers"


class KeptAnswers:
    """The answers of one question about a site.

    Args:
        cache: the user's cache.
        inputs: of the site, with the digests of its rows.
        ruleset: the rule set asked for instead of the site's.
        tasks: ids to judge; none means all.
        span: the month whose compliance is asked for, or None.
        is_for_text: whether findings are only printed: such an answer lacks what only others ask for.
    """

    def __init__(  # noqa: PLR0913 - what an answer depends on
        self, cache: UserCache, inputs: Inputs, ruleset: str | None, tasks: Collection[str], span: Month | None, *, is_for_text: bool
    ) -> None:
        self._cache = cache
        self._inputs = inputs
        self._place = {engine.id: number for number, engine in enumerate(inputs.site.engines)}
        # by place and question, so that the next answers take the place of these
        self._name = _digest(str(inputs.site.folder.resolve()), ruleset, sorted(tasks), repr(span), repr(inputs.moment), is_for_text)
        self._shared = _digest(self._name, program_digest(), *_said_of_site(inputs))
        self._keys: dict[int, str] = {}

    @classmethod
    def of(
        cls, inputs: Inputs, ruleset: str | None, tasks: Collection[str], span: Month | None, *, is_for_text: bool
    ) -> KeptAnswers | None:
        """Return what is kept of a question, None where nothing of it is to be: of a small log, or of a moment that does not come again."""
        cache = cache_of_run() if inputs.readings.digests and inputs.moment.is_date else None
        return None if cache is None else cls(cache, inputs, ruleset, tasks, span, is_for_text=is_for_text)

    def find(self, judged: Sequence[int]) -> dict[int, JudgedSoFar]:
        """Return what is kept of engines and components, given by their indexes."""
        self._keys = {index: self._key_of(index) for index in judged}
        entry = self._cache.find(KIND, self._name)
        if entry is None:
            return {}
        try:
            answers = {key: answer for key, *answer in entry.head["answers"]}
            found = {index: _answer_of(entry, answers[key]) for index, key in self._keys.items() if key in answers}
        except (KeyError, TypeError, ValueError):
            # what pydantic refuses is a ValueError
            return {}
        return {index: answer for index, answer in found.items() if answer is not None}

    def keep(self, answers: Mapping[int, JudgedSoFar]) -> None:
        """Keep what was found of engines and components."""
        writer = self._cache.writer(KIND, self._name)
        listed: list[list[Any]] = []
        for index, answer in answers.items():
            if answer.shares:
                continue
            answer.write()
            texts = []
            for each in answer.texts:
                text = each.text.encode()
                # the text is the first of its fields
                texts.append([writer.add(text), len(text), hashlib.sha256(text).hexdigest(), each.said_of_it])
            listed.append([self._keys[index], texts, plain_faults(answer.faults), sorted(answer.fitted)])
        writer.finish({"answers": listed})
        self._cache.trim()

    def _key_of(self, index: int) -> str:
        """Return the digest of all that an engine's answer rests on."""
        inputs, site = self._inputs, self._inputs.site
        engines = rows_asked_by(inputs, self._place, index)
        ids = sorted({site.judged_units[each].id for each in (index, *engines)})
        rows = [inputs.readings.digests[engine].hex() for engine in engines] + [block.before_us for block in inputs.readings.blocks]
        records = [repr([tuple(record) for record in inputs.records.get(name, ())]) for name in ids]
        analyses = [repr([_plain_analysis(analysis) for analysis in inputs.analyses.get(name, ())]) for name in ids]
        return _digest(self._shared, index, ids, rows, records, analyses)


def rows_asked_by(inputs: Inputs, place: Mapping[str, int], index: int) -> list[int]:
    """Return the engines whose rows an engine or component is judged by: itself, or those that it sat on.

    Args:
        inputs: of the site.
        place: index of each engine by its id.
        index: which engine or component.
    """
    site = inputs.site
    if index < len(site.engines):
        return [index]
    return sorted({place[fitting.engine] for fitting in site.components[index - len(site.engines)].fitted})


def rows_asked_by_all(inputs: Inputs, indexes: Iterable[int]) -> list[int]:
    """Return the engines whose rows some engines and components are judged by, rising."""
    place = {engine.id: number for number, engine in enumerate(inputs.site.engines)}
    return sorted({engine for index in indexes for engine in rows_asked_by(inputs, place, index)})


def _said_of_site(inputs: Inputs) -> list[object]:
    """Return what every answer rests on: site file and rule sets as they were written, the clock, grades of what was found."""
    site = inputs.site
    written = hashlib.sha256(Path(site.file).read_bytes()).hexdigest() if site.file else None
    # a digest of a rule set is one of the files that it is based on too
    sets = [[name, book.ruleset.file, book.ruleset.sha256] for name, book in inputs.books.items()]
    clock = [zone_digest(site.time_zone), int(inputs.days.midnights_us[0])]
    grades = sorted([*key, *grade] for key, grade in inputs.grades.items())
    return [str(site.folder), written, repr(site), sets, clock, grades]


def _plain_analysis(analysis: Analysis) -> tuple[object, ...]:
    """Return what an analysis says, in one order."""
    return (*analysis[:5], sorted(analysis.values.items()), *analysis[6:8], sorted(analysis.impossible), analysis.at_is_date)


def _answer_of(entry: Entry, answer: Sequence[Any]) -> JudgedSoFar | None:
    """Return one answer of an entry, or None where it is not as it was written."""
    kept, faults, fitted = answer
    texts = []
    for start, size, digest, said in kept:
        text = bytes(entry.block(start, size))
        if hashlib.sha256(text).hexdigest() != digest:
            return None
        texts.append(FoundText.kept(text.decode(), said))
    faulty = faults_of_plain(*faults)
    return JudgedSoFar(faulty, fitted={(name, task) for name, task in fitted}, texts=texts)


def _digest(*said: object) -> str:
    """Return the digest of plain data."""
    return hashlib.sha256(json.dumps(said).encode()).hexdigest()
