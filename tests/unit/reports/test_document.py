"""The JSON documents and their schema."""

from __future__ import annotations

import json
import math
import pickle
from datetime import date
from pathlib import Path

import jsonschema
import pytest

from intervals import assess, read_site
from intervals.documents import json_text
from intervals.findings import Leg
from intervals.questions.check.findings_document import findings_document, findings_text
from intervals.reports.document import explanation_document, log_document
from intervals.reports.document_schemas import findings_schema
from tests.unit.reports.made_findings import calendar_leg, finding, hours_leg, made_explanation, made_findings, made_log, october

SAMPLES = Path(__file__).parents[3] / "sample_logs"


@pytest.mark.parametrize("month", [None, october()])
def test_the_document_keeps_its_schema(month: object) -> None:
    """Findings with and without a month validate against the schema that is published."""
    schema = findings_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    document = findings_document(made_findings(compliance=month))  # type: ignore[arg-type] # both kinds are meant
    jsonschema.Draft202012Validator(schema).validate(json.loads(json_text(document)))
    assert ("compliance" in document) == (month is not None)


def test_the_schema_refuses_what_is_no_finding() -> None:
    """A standing that is none, a missing figure and another version of the schema are refused."""
    validator = jsonschema.Draft202012Validator(findings_schema())
    changes: list[dict[str, object]] = [{"schema": "intervals.findings/1"}, {"totals": {}}, {"extra": 1}]
    for change in changes:
        assert not validator.is_valid(findings_document(made_findings()) | change)


def test_keys_stand_in_the_agreed_order() -> None:
    """The document's keys, a finding's and a leg's come in one order, the schema's name first."""
    document = findings_document(made_findings())
    assert list(document) == ["schema", "site", "as_of", "rulesets", "findings", "skipped", "faults", "rows", "totals"]
    assert document["schema"] == "intervals.findings/2"
    first = document["findings"][0]
    assert list(first) == [
        "engine", "task", "title", "standing", "within_tolerance", "governing", "legs", "last_done", "due_on", "crossed_at", "past_by",
        "forecast", "deferred_until", "unknown_hours_h", "reasons",
    ]  # fmt: skip
    hours, calendar = first["legs"]
    assert list(hours) == ["leg", "unit", "used", "base", "allowed", "remaining", "consumed", "running_hours_h"]
    assert list(calendar) == ["leg", "unit", "used", "base", "allowed", "remaining", "consumed"]


def test_figures_keep_their_form() -> None:
    """A whole number of hours is still a float, six decimals are kept, no zero is negative, unknown is null."""
    legs = (hours_leg(0.1 + 0.2), hours_leg(-0.0), hours_leg(None))
    text = json_text(findings_document(made_findings((finding(legs=legs),))))
    assert '"allowed": 2000.0' in text
    assert '"used": 0.3,' in text
    assert '"used": 0.0,' in text
    assert "-0.0" not in text
    assert '"used": null' in text


def test_the_same_input_gives_the_same_bytes() -> None:
    """Two documents of the same findings are equal to the byte, indented by two, ended by one line feed."""
    first, second = (json_text(findings_document(made_findings())) for _ in range(2))
    assert first == second
    assert first.startswith('{\n  "schema": "intervals.findings/2",\n  "site"')
    assert first.endswith("}\n")


@pytest.mark.parametrize("month", [None, "2026-09"])
@pytest.mark.parametrize("name", ["brackwater", "harbour-clinic", "skerry-island"])
def test_the_text_of_the_models_is_the_document(name: str, month: str | None) -> None:
    """What the models write of the shipped sites is the document with every figure rounded, to the byte."""
    findings = assess(read_site(SAMPLES / name), date(2026, 10, 31), month=month)
    assert findings_text(findings) == json_text(findings_document(findings))


def test_the_text_of_a_leg_says_the_hours_of_the_clock_only_where_it_counts_them() -> None:
    """A leg of running hours has running_hours_h, even unknown; a calendar leg has not, even if it was made with one."""
    legs = (hours_leg(10.0, plain_h=8.0), hours_leg(None), Leg.model_validate(calendar_leg(3.0).model_dump() | {"running_hours_h": None}))
    first, second, third = json.loads(findings_text(made_findings((finding(legs=legs),))))["findings"][0]["legs"]
    assert first["running_hours_h"] == 8.0
    assert second["running_hours_h"] is None
    assert "running_hours_h" not in third


def test_a_finding_travels_between_processes_as_it_is() -> None:
    """A finding that was pickled and unpickled equals the one before, and is printed alike."""
    legs = (hours_leg(2310.6), calendar_leg(3.0))
    sent = finding(legs=legs)
    received = pickle.loads(pickle.dumps(sent))
    assert received == sent
    assert findings_text(made_findings((received,))) == findings_text(made_findings((sent,)))


def test_a_figure_that_is_none_is_refused() -> None:
    """NaN is no JSON."""
    with pytest.raises(ValueError, match="not JSON compliant"):
        json_text({"used": math.nan})


def test_explanation_and_log_name_their_schema() -> None:
    """The other two documents say what they are, too."""
    assert explanation_document(made_explanation())["schema"] == "intervals.explanation/1"
    assert log_document(made_log())["schema"] == "intervals.log/1"
    assert explanation_document(made_explanation())["cells"][1]["equivalent_h"] == 625.5
    assert log_document(made_log())["engines"][0]["known_share_pct"] == {"load_pct": 99.9999, "oil_temp_c": 100.0}
