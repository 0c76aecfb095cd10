"""What makes a run in the log a completion, as it is written under `done_when`.

In: a mapping such as `{running_min: 30, load_pct: {at_least: 30}}`, or a `sequence` of such mappings. Out: a `DoneWhen`. Refuses
what is no number of minutes, no condition, or a sequence of nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal

from intervals.language.conditions import Condition, describe_condition
from intervals.language.flaws import Flaw, FlawsError, flaw_error, flaws_of
from intervals.language.plain_values import number_of
from intervals.language.scalars import shown_value
from intervals.language.written_conditions import parse_condition
from intervals.problems import nearest_word

RUNNING_MIN = "running_min"
SAMPLING_MIN = "sampling_min"
SEQUENCE = "sequence"

_EXAMPLE = "{running_min: 30, load_pct: {at_least: 30}}"
_SLIP = 0.75
"""From this likeness on, a key is taken for a slip for one of the three; any other is what a condition asks for."""


@dataclass(frozen=True, slots=True)
class RunPart:
    """One part of a run: how long a condition must hold without a break.

    Attributes:
        running_min: running minutes in a row, above 0, exact.
        when: what must hold on all of them; None where running is enough.
    """

    running_min: Decimal
    when: Condition | None

    def __str__(self) -> str:
        """Return the part in words."""
        return f"{self.running_min.normalize():f} min" + (f" with {describe_condition(self.when)}" if self.when is not None else "")


@dataclass(frozen=True, slots=True)
class DoneWhen:
    """The run that completes a task.

    Attributes:
        parts: its parts, in the order in which one run must have them; a single one where there is no sequence.
        sampling_min: by how much each part may be short, for the log's sampling, exact.
    """

    parts: tuple[RunPart, ...]
    sampling_min: Decimal = Decimal(0)

    def __str__(self) -> str:
        """Return what must be run in words."""
        text = ", then ".join(str(part) for part in self.parts)
        return text + (f"; {self.sampling_min.normalize():f} min less is accepted" if self.sampling_min else "")


def parse_done_when(raw: object, named: Mapping[str, Condition]) -> DoneWhen:
    """Return the run that plain data stands for.

    Args:
        raw: one part, or `sequence: [part, ..]`; beside either, `sampling_min`.
        named: the rule set's conditions by name.

    Raises:
        FlawsError: all that is wrong, each with its place below `raw`.

    Example:
        >>> str(parse_done_when({"running_min": 30, "load_pct": {"at_least": 30}}, {}))
        '30 min with load_pct at least 30'
    """
    if not isinstance(raw, Mapping):
        raise flaw_error(text=f"not a run; got {shown_value(raw)}", fix=f"write for example {_EXAMPLE}")
    flaws: list[Flaw] = []
    sampling = _minutes(raw.get(SAMPLING_MIN, 0), (SAMPLING_MIN,), flaws, may_be_zero=True)
    parts = [_part(part, place, named, flaws) for place, part in _parts_in(raw, flaws)]
    known = tuple(part for part in parts if part is not None)
    for part in known:
        if sampling is not None and sampling >= part.running_min:
            text = f"out of range; got {float(sampling):g}, expected less than the {float(part.running_min):g} min of running"
            flaws.append(Flaw((SAMPLING_MIN,), text, None, "range"))
            break
    if flaws or sampling is None:
        raise FlawsError(flaws)
    return DoneWhen(known, sampling)


def conditions_in(raw: object) -> Iterator[tuple[tuple[str | int, ...], object]]:
    """Yield the conditions of plain data under `done_when`, each with its place below it; what is no run yields nothing."""
    if isinstance(raw, DoneWhen):
        for index, part in enumerate(raw.parts):
            yield (SEQUENCE, index), part.when
    elif isinstance(raw, Mapping):
        for place, written in _parts_in(raw, []):
            yield place, _asked(written) or None


def _parts_in(raw: Mapping[str, object], flaws: list[Flaw]) -> Iterator[tuple[tuple[str | int, ...], Mapping[str, object]]]:
    """Yield the parts of a run with their places: those of the sequence, or the mapping itself."""
    if SEQUENCE not in raw:
        yield (), {key: value for key, value in raw.items() if key != SAMPLING_MIN}
        return
    beside = [key for key in raw if key not in (SEQUENCE, SAMPLING_MIN)]
    fix = "write it into each part of the sequence"
    flaws.extend(Flaw((key,), f'"{key}" beside a sequence', fix, "unknown_key") for key in beside)
    listed = raw[SEQUENCE]
    if not isinstance(listed, (list, tuple)) or not listed:
        flaws.append(Flaw((SEQUENCE,), f"not a list of parts; got {shown_value(listed)}", f"write for example [{_EXAMPLE}]"))
        return
    for index, part in enumerate(listed):
        if isinstance(part, Mapping):
            yield (SEQUENCE, index), part
        else:
            flaws.append(Flaw((SEQUENCE, index), f"not a part of a run; got {shown_value(part)}", f"write for example {_EXAMPLE}"))


def _asked(part: Mapping[str, object]) -> dict[str, object]:
    """Return what a part asks for beside its minutes."""
    return {key: value for key, value in part.items() if key != RUNNING_MIN}


def _part(raw: Mapping[str, object], place: tuple[str | int, ...], named: Mapping[str, Condition], flaws: list[Flaw]) -> RunPart | None:
    """Return one part, or None where something of it is wrong."""
    known = (RUNNING_MIN, SAMPLING_MIN, SEQUENCE)
    before = len(flaws)
    for key in raw:
        near = nearest_word(str(key), known, _SLIP) if key != RUNNING_MIN else None
        if near:
            text = f'"{key}" inside a part' if near == key else f'unknown key "{key}"; did you mean "{near}"?'
            fix = "write it beside the sequence" if near == SAMPLING_MIN and place else None
            flaws.append(Flaw((*place, key), text, fix, "unknown_key"))
    minutes = None
    if RUNNING_MIN in raw:
        minutes = _minutes(raw[RUNNING_MIN], (*place, RUNNING_MIN), flaws)
    elif len(flaws) == before:
        text = f'the key "{RUNNING_MIN}" is missing'
        flaws.append(Flaw(place, text, f"add {RUNNING_MIN}: running minutes in a row", "missing_key"))
    if len(flaws) > before:
        return None
    asked = _asked(raw)
    try:
        when = parse_condition(asked, named) if asked else None
    except FlawsError as error:
        flaws.extend(flaw.below(*place) for flaw in error.flaws)
        return None
    return None if minutes is None else RunPart(minutes, when)


def _minutes(value: object, place: tuple[str | int, ...], flaws: list[Flaw], *, may_be_zero: bool = False) -> Decimal | None:
    """Return a number of minutes as an exact decimal, or None where it is none."""
    try:
        number = number_of(value)
    except ValueError as error:
        flaws.extend(flaw.below(*place) for flaw in flaws_of(error))
        return None
    if number < 0 or (number == 0 and not may_be_zero):
        text = f"out of range; got {shown_value(value)}, expected {'0 or more' if may_be_zero else 'more than 0'}"
        flaws.append(Flaw(place, text, None, "range"))
        return None
    return Decimal(str(number))


__all__ = ["DoneWhen", "RunPart", "conditions_in", "parse_done_when"]
