"""The whole document and exit code of `check` for each sample site are what a person last read and kept."""

from __future__ import annotations

import difflib
import json

import jsonschema
import pytest

from intervals.reports.document_schemas import findings_schema
from tests.golden.refresh import EXIT_CODES, HERE, SITES, checked, golden_path

_SHOWN = 60


@pytest.mark.parametrize("site", SITES)
def test_a_sample_site_is_judged_as_before(site: str) -> None:
    """Not a byte differs; where one does, the diff is shown, to be read and then kept by `python -m tests.golden.refresh`."""
    text, code = checked(site)
    kept = golden_path(site).read_text(encoding="utf-8")
    diff = list(difflib.unified_diff(kept.splitlines(), text.splitlines(), "kept", "now", lineterm="", n=4))
    shown = "\n".join([*diff[:_SHOWN], *([f"... and {len(diff) - _SHOWN} lines more"] if len(diff) > _SHOWN else [])])
    assert not diff, f"{site} is judged otherwise; read this, then run python -m tests.golden.refresh\n{shown}"
    assert code == json.loads(EXIT_CODES.read_text(encoding="utf-8"))[site]


@pytest.mark.parametrize("site", SITES)
def test_what_was_kept_is_whole(site: str) -> None:
    """The kept document keeps the schema, its totals are those of its findings, and its exit code fits them."""
    document = json.loads(golden_path(site).read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(findings_schema()).validate(document)
    totals = document["totals"]
    for standing in ("overdue", "upcoming", "in_interval", "unknown"):
        assert totals[standing] == sum(each["standing"] == standing for each in document["findings"])
    assert totals["skipped_open"] == sum(each["open"] for each in document["skipped"])
    needs_action = totals["overdue"] + totals["unknown"] + totals["skipped_open"] > 0
    assert json.loads(EXIT_CODES.read_text(encoding="utf-8"))[site] == int(needs_action)


def test_every_sample_site_is_kept_and_no_other() -> None:
    """A new sample site needs its document; one that is gone leaves none."""
    assert sorted(path.stem for path in HERE.glob("*.json")) == sorted([*SITES, EXIT_CODES.stem])
    assert json.loads(EXIT_CODES.read_text(encoding="utf-8")).keys() == set(SITES)


def test_no_machine_shows_in_what_is_kept() -> None:
    """Documents are the same on every machine: no path of one stands in them."""
    for site in SITES:
        assert str(HERE.parents[1]) not in golden_path(site).read_text(encoding="utf-8")
