"""What concerns several keys of a block of readings at once: its quantities, their units, which engine a row belongs to.

In: the plain data of a block. Out: flaws with places from the block. Refuses nothing itself.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Any

from intervals.language.flaws import Flaw, flaws_of
from intervals.language.scalars import shown_value
from intervals.problems import nearest_name_of, nearest_of
from intervals.quantities import QUANTITIES, unit_conversion
from intervals.site.sources import ALL, ENGINE_SLOT


def word_of(value: object) -> str:
    """Return an id as it was written."""
    return str(getattr(value, "text", value))


def check_source(source: Mapping[str, Any], ids: list[str], declared: Mapping[str, tuple[str, str | None]]) -> Iterator[Flaw]:
    """Yield flaws of one block of readings.

    Args:
        source: the block's plain data.
        ids: ids of the engines.
        declared: kind and unit of every quantity of the site.
    """
    quantities = source.get("quantities")
    columns = (
        {name: column for name, column in quantities.items() if isinstance(column, Mapping)} if isinstance(quantities, Mapping) else {}
    )
    for name, column in columns.items():
        yield from (flaw.below("quantities", name) for flaw in _check_quantity(name, column, declared))
    yield from _check_engine_of_row(source, ids, any(ENGINE_SLOT in str(column.get("column")) for column in columns.values()))
    yield from check_names(source.get("engine_names"), ids)


def _check_quantity(name: str, column: Mapping[str, Any], declared: Mapping[str, tuple[str, str | None]]) -> Iterator[Flaw]:
    """Yield flaws of one quantity's column."""
    kind = column.get("kind")
    if name in QUANTITIES and kind is not None and kind != QUANTITIES[name].kind:
        yield Flaw(
            ("kind",),
            f'"{name}" is a {QUANTITIES[name].kind}; got {shown_value(kind)}',
            "leave kind out, or give the quantity another name",
            "declaration",
        )
        return
    if name not in declared:
        text = f'"{name}" is not a canonical quantity{nearest_of(name, QUANTITIES)}'
        yield Flaw((), text, "add kind: counter, amount or level, to declare it", "declaration")
        return
    known_kind, unit = declared[name]
    if kind is not None and kind != known_kind:
        yield Flaw(
            ("kind",),
            f'"{name}" is declared as a {known_kind} elsewhere; got {shown_value(kind)}',
            "declare it the same way in every block",
            "declaration",
        )
    for key in ("holds_for", "averaged_over"):
        if column.get(key) is not None and known_kind != "level":
            yield Flaw((key,), f'{key} is for levels; "{name}" is a {known_kind}', f"leave {key} out", "declaration")
    if name not in QUANTITIES and unit is None and column.get("unit") is None and known_kind != "level":
        # a level without one is a signal, which says yes or no
        yield Flaw((), f'"{name}" has no unit', "add unit: the unit in the files", "missing_key")
    if name not in QUANTITIES and unit is None and column.get("unit") is not None:
        text = f'"{name}" is declared without a unit elsewhere; got {shown_value(column["unit"])}'
        yield Flaw(("unit",), text, "declare it the same way in every block", "declaration")
    if unit is not None and isinstance(column.get("unit"), (str, int, float)) and not isinstance(column.get("unit"), bool):
        try:
            unit_conversion(unit, word_of(column["unit"]))
        except ValueError as error:
            yield from (flaw.below("unit") for flaw in flaws_of(error))


def _check_engine_of_row(source: Mapping[str, Any], ids: list[str], is_wide: bool) -> Iterator[Flaw]:
    """Yield flaws of a block that does not say, or says twice, which engine a row belongs to."""
    engine = source.get("engine")
    if engine is None:
        if not is_wide:
            fix = (
                f"add engine: {{value: {ids[0]}}}"
                if len(ids) == 1
                else 'add engine: {column: ..}, {value: ..} or {from_file_name: ..}, or name columns "{engine} .."'
            )
            yield Flaw(("engine",), "nothing says which engine a row belongs to", fix, "engine_of_row")
        return
    if not isinstance(engine, Mapping):
        return
    given = [key for key in ("column", "value", "from_file_name") if engine.get(key) is not None]
    if len(given) != 1:
        yield Flaw(
            ("engine",), f"expected one of column, value, from_file_name; got {' and '.join(given) or 'none'}", None, "engine_of_row"
        )
    if is_wide:
        yield Flaw(
            ("engine",),
            "the engine is given twice: by {engine} in the columns' names, and by the key engine",
            "leave one of them out",
            "engine_of_row",
        )
    names = source.get("engine_names")
    spellings = [*ids, *(names if isinstance(names, Mapping) else ())]
    yield from (_unknown_engine(("engine", "value", *place), word, ids) for place, word in _strangers(engine.get("value"), spellings))


def _strangers(value: object, ids: Collection[str]) -> Iterator[tuple[tuple[int, ...], str]]:
    """Yield the words of one value, or of a list of them, that are neither an engine nor all of them, each with its place in the list."""
    is_list = isinstance(value, (list, tuple))
    for index, word in enumerate(value if isinstance(value, (list, tuple)) else [value]):
        is_all = word == ALL and not is_list
        if isinstance(word, (str, int, float)) and not isinstance(word, bool) and not is_all and word_of(word).strip() not in ids:
            yield (index,) if is_list else (), word_of(word).strip()


def _unknown_engine(place: tuple[str | int, ...], word: str, ids: Sequence[str]) -> Flaw:
    """Return the flaw of a word that stands for no engine."""
    return Flaw(place, f'no engine has the id "{word}"{nearest_name_of(word, ids)}', f"engines: {', '.join(ids)}", "unknown_engine")


def check_outcomes(names: object) -> Iterator[Flaw]:
    """Yield a flaw for each outcome word that differs from one before it by letter case or blanks alone and means another outcome.

    Args:
        names: the plain data under `outcome_names`.
    """
    seen: dict[str, tuple[object, object]] = {}
    for spelling, outcome in names.items() if isinstance(names, Mapping) else ():
        first, meant = seen.setdefault(word_of(spelling).strip().casefold(), (spelling, outcome))
        if meant != outcome:
            text = f'"{spelling}" is {shown_value(outcome)}, and "{first}" is {shown_value(meant)}: '
            text += "outcomes must differ by more than letter case"
            yield Flaw(("outcome_names", spelling), text, "remove one of them", "duplicate")


def check_names(names: object, ids: list[str]) -> Iterator[Flaw]:
    """Yield a flaw for each spelling that stands for no engine.

    Args:
        names: the plain data under `engine_names`.
        ids: ids that a spelling may stand for.
    """
    for spelling, engines in names.items() if isinstance(names, Mapping) else ():
        yield from (_unknown_engine(("engine_names", spelling, *place), word, ids) for place, word in _strangers(engines, ids))
