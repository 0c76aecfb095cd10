"""What was found, as text: it reads back as it was, says what is asked of it, and joins into the document of all findings."""

from __future__ import annotations

import json
import pickle

import pytest

from intervals.findings import Finding, Skipped
from intervals.judge.found_text import FoundText
from intervals.judge.judged_so_far import JudgedSoFar
from intervals.questions.check.findings_document import findings_text, written_findings
from tests.unit.reports.made_findings import finding, made_findings

HOSTILE = 'no\n  ],\n  "skipped": [\n  ],\n  "occurrences": ['


def skipped(engine: str = "G1", *, is_open: bool = True) -> Skipped:
    """Return a missed occurrence."""
    return Skipped(engine=engine, ruleset="r", task="oil", kind="missed", open=is_open, at="2026-01-02", text="missed", rule="missed")


def test_it_reads_back_with_the_days_on_which_leads_begin() -> None:
    """The day is not part of a document, and travels all the same."""
    two = [finding("G1").with_lead_from("2026-09-01"), finding("G2")]
    found = FoundText.of(two, [skipped()], []).read()
    assert ([*found.findings], [*found.skipped], found.occurrences) == (two, [skipped()], ())
    assert [each.upcoming_from for each in found.findings] == ["2026-09-01", None]


def test_it_says_what_is_asked_before_it_is_printed() -> None:
    """Standings, engines and open work are counted without reading it."""
    text = FoundText.of([finding("G1"), finding("G2", standing="unknown"), finding("G2")], [skipped(), skipped(is_open=False)], [])
    assert (text.standings, text.skipped, text.skipped_open, text.engines) == ({"overdue": 2, "unknown": 1}, 2, 1, frozenset({"G1", "G2"}))


@pytest.mark.parametrize("title", ["Change oil", HOSTILE, "Ölwechsel \u2028"])
def test_parts_join_into_the_document_of_all(title: str) -> None:
    """Parts with findings, with skipped work alone, and with nothing: the bytes are those of the models, whatever texts hold."""
    one, other = finding("G1").model_copy(update={"title": title}), finding("G2")
    whole = made_findings((one, other), skipped=(skipped(), skipped("G2")))
    frame = whole.model_copy(update={"findings": (), "skipped": ()})
    parts = [([one], [skipped()]), ([], []), ([], [skipped("G2")]), ([other], [])]
    written = written_findings(frame, [FoundText.of(some, missed, []) for some, missed in parts])
    assert written.text == findings_text(written) == findings_text(whole)
    assert json.loads(written.text)["findings"][0]["title"] == title
    assert written.totals == whole.totals


def test_a_document_of_nothing_has_empty_lists() -> None:
    """No engine had anything: the lists are there, and empty."""
    empty = made_findings((), skipped=())
    assert written_findings(empty, [FoundText.of([], [], [])]).text == findings_text(empty)


def test_what_was_found_travels_as_text_and_is_read_in_its_order() -> None:
    """Findings of this process, of another one, and of the site: in the order in which they were added, as models."""

    def found(*some: Finding) -> JudgedSoFar:
        return JudgedSoFar([], findings=[*some])

    whole = JudgedSoFar([])
    whole.add(pickle.loads(pickle.dumps(found(finding("G1")))))
    whole.add(found(finding("G2")))
    whole.add(pickle.loads(pickle.dumps(found(finding("G3").with_lead_from("2026-09-01")))))
    assert (whole.engines, whole.standings, whole.is_of_something) == ({"G1", "G2", "G3"}, {"overdue": 3}, True)
    whole.read()
    assert [each.engine for each in whole.findings] == ["G1", "G2", "G3"]
    assert whole.findings[2].upcoming_from == "2026-09-01"
    assert (whole.texts, JudgedSoFar([]).is_of_something) == ([], False)
