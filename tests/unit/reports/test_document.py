"""The JSON documents and their schema."""

from __future__ import annotations

import json
import math

import jsonschema
import pytest

from intervals.reports.document import (
    explanation_document,
    findings_document,
    json_text,
    log_document,
)
from intervals.reports.document_schemas import findings_schema
from tests.unit.reports.made_findings import finding, hours_leg, made_explanation, made_findings, made_log, october


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
    changes: list[dict[str, object]] = [{"schema": "intervals.findings/2"}, {"totals": {}}, {"extra": 1}]
    for change in changes:
        assert not validator.is_valid(findings_document(made_findings()) | change)


def test_keys_stand_in_the_agreed_order() -> None:
    """The document's keys, a finding's and a leg's come in one order, the schema's name first."""
    document = findings_document(made_findings())
    assert list(document) == ["schema", "site", "as_of", "rulesets", "findings", "skipped", "faults", "rows", "totals"]
    assert document["schema"] == "intervals.findings/1"
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
    assert first.startswith('{\n  "schema": "intervals.findings/1",\n  "site"')
    assert first.endswith("}\n")


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
