"""Proposed intervals as a rule set based on the one in use: a file for a person to review, with the evidence beside each entry.

In: `Proposals`. Out: YAML text that the loader takes. Draws only; the loader and the person judge it.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import yaml

from intervals.questions.propose.propose_models import KeptRule, Proposal, Proposals
from intervals.reports.lines import printable
from intervals.rules.effects.known_effects import IntervalBecomes
from intervals.shown_numbers import amount, count_of, exact

_WIDTH = 130
_CAUTION = (
    "A proposal for a person to review. Nothing applies it by itself. It follows only from the log and the rule set's own adjustments.",
    "The engine's documents, the current legal text and the local code come first; where they are stricter, they apply.",
    "Changing an interval is for people who are trained and allowed to do it, and so is the work.",
    "An interval in hours on the clock is right only while the duty stays the same: hour-by-hour rules are averaged over the year here.",
    "Where the heaviest stretch lasted much shorter than the proposed interval, keep the hour-by-hour rule, or take the shorter interval.",
)


def proposal_text(proposals: Proposals, folder: Path) -> str:
    """Return a rule set with the proposed intervals.

    Args:
        proposals: what is proposed.
        folder: the folder that the file will stand in, from which it names the rule set it is based on.

    Returns:
        YAML with comments, ended by a line feed.
    """
    written = [entry for entry in proposals.proposals if entry.proposed_h is not None]
    gone = [kept.adjustment for kept in proposals.kept if not kept.tasks]
    parts = [
        _comment(*_CAUTION),
        _comment(f"Calculated from {proposals.since} to {proposals.until} by {proposals.ruleset} {proposals.version}."),
        yaml.safe_dump(_head(proposals, folder), sort_keys=False, allow_unicode=True, width=_WIDTH),
    ]
    if gone:
        parts.append(
            _comment("These adjustments are included in the intervals below, so they are left out here.")
            + _dump({"without": {"adjustments": gone}})
        )
    entries = [*(_entry_text(proposals, entry) for entry in written), *(text for kept in proposals.kept for text in _kept_texts(kept))]
    if entries:
        parts.append("adjustments:\n" + "\n".join(entries))
    parts.append("".join(_rest(proposals)))
    return "\n".join(part for part in parts if part)


def _head(proposals: Proposals, folder: Path) -> dict[str, Any]:
    """Return what the rule set says of itself."""
    based_on = proposals.based_on or _path_from(folder, Path(proposals.file))
    return {
        "ruleset": f"{proposals.ruleset}-{proposals.site}",
        "title": f"{proposals.ruleset_title}: intervals that the duty of {proposals.site_title} supports",
        "version": f"proposal of {proposals.until}",
        "based_on": based_on,
    }


def _path_from(folder: Path, file: Path) -> str:
    """Return a file as it is named from a folder."""
    path = Path(os.path.relpath(file, folder)).as_posix()
    return path if path.startswith(("/", "../")) else f"./{path}"


def _entry_text(proposals: Proposals, entry: Proposal) -> str:
    """Return one proposed interval with its evidence."""
    title = f"{entry.engine} {entry.task}: {amount(entry.proposed_h, 'h')} on the clock instead of {exact(entry.base_h)} h"
    written = {
        "id": _id_of(f"{entry.task}-of-{entry.engine}"),
        "tasks": [entry.task],
        "when": {"engine": entry.engine},
        IntervalBecomes.key: {"running_hours": _number(entry.proposed_h or entry.base_h)},
        "because": _because(entry),
        "source": f"log of {proposals.site} from {proposals.since} to {proposals.until}, by {proposals.ruleset} {proposals.version}",
    }
    beside = [] if entry.severe_duty is None else [entry.severe_duty]
    return _comment(title, *(f"  {line}" for line in (*entry.evidence, entry.sum, *beside)), indent="  ") + _item(written)


def _because(entry: Proposal) -> str:
    """Return the reason of a proposed interval: what is worked in, the sum, and what stays beside it."""
    worked_in = "What an hour counts and how often the engine started are" if entry.starts_are_in else "What an hour counts is"
    beside = "" if entry.severe_duty is None else f" The {entry.severe_duty}."
    return f"{worked_in} included: {entry.sum}.{beside}"


def _kept_texts(kept: KeptRule) -> Iterator[str]:
    """Yield what is left of an adjustment: on all engines for some tasks, on some engines for others."""
    if kept.tasks:
        yield _comment(f"{kept.adjustment} is included in the intervals of the other tasks.", indent="  ") + _item(
            {"id": kept.adjustment, "tasks": list(kept.tasks)}
        )
    for number, (engines, tasks) in enumerate(kept.only_on, start=1):
        entry = {**_plain(kept.raw), "tasks": list(tasks), "when": _on_engines(_plain(kept.raw.get("when")), engines)}
        entry["id"] = f"{kept.adjustment}-elsewhere" + (f"-{number}" if number > 1 else "")
        note = f"{kept.adjustment} stays as it is on {', '.join(engines)}; name an engine here if it is added later."
        yield _comment(note, indent="  ") + _item(entry)


def _on_engines(when: Any, engines: Sequence[str]) -> dict[str, Any]:  # noqa: ANN401 - a condition as a rule set writes it
    """Return a condition that holds on some engines only."""
    asked = dict(when) if isinstance(when, dict) else {"condition": when}
    own = asked.get("engine")
    named = [str(each) for each in (own if isinstance(own, list) else [own])] if own is not None else list(engines)
    return {**asked, "engine": [engine for engine in engines if engine in named]}


def _rest(proposals: Proposals) -> Iterator[str]:
    """Yield what is not proposed, and why."""
    held = [f"{entry.engine} {entry.task} {amount(entry.supported_h, 'h')}" for entry in proposals.proposals if entry.kind == "held"]
    unknown = [f"{entry.engine} {entry.task}" for entry in proposals.proposals if entry.kind == "unknown"]
    same = sum(entry.kind == "same" for entry in proposals.proposals)
    if held:
        yield _comment(
            "Not proposed, because it is longer than the interval and no oil-condition programme takes the place of time",
            f"(the rule set's own rules stay): {', '.join(held)}",
        )
    if unknown:
        yield _comment(f"Not proposed, because too little is known: {', '.join(unknown)}")
    yield _comment(f"{count_of(same, 'interval')} of running hours last as long as the rule set says.")


def _comment(*lines: str, indent: str = "") -> str:
    """Return lines as comments; nothing of a file's text can end one."""
    return "".join(f"{indent}# {printable(line)}".rstrip() + "\n" for line in lines)


def _dump(data: Mapping[str, Any]) -> str:
    """Return plain data as YAML, keys in order."""
    return yaml.safe_dump(dict(data), sort_keys=False, allow_unicode=True, width=_WIDTH, default_flow_style=None)


def _item(data: Mapping[str, Any]) -> str:
    """Return an entry of a list as YAML."""
    lines = yaml.safe_dump([dict(data)], sort_keys=False, allow_unicode=True, width=_WIDTH, default_flow_style=None).splitlines()
    return "".join(f"  {line}\n" for line in lines)


def _plain(value: Any) -> Any:  # noqa: ANN401 - plain data of any kind
    """Return data without what remembers how a number was written."""
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, bool) or value is None:
        return value
    return _number(value) if isinstance(value, int | float) else str(value)


def _number(value: float) -> float:
    """Return a number without an idle decimal point."""
    return int(value) if float(value).is_integer() else float(value)


def _id_of(text: str) -> str:
    """Return a text as an id: no blanks."""
    return "-".join(text.split())
