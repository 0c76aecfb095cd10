"""How the worked examples of rule sets came out.

In: rule sets with the results of their examples. Out: lines; what did not come out is shown in full.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from intervals.reports.lines import Line, Span, line_of, printable
from intervals.reports.text_columns import wrap_prose
from intervals.rules.ruleset import RuleSet
from intervals.shown_numbers import count_of

if TYPE_CHECKING:
    # the module that judges the examples loads the judge; its results are only drawn here
    from intervals.questions.examples.example_result import ExampleResult

_LEAST_WIDTH = 40


def example_lines(results: Sequence[tuple[RuleSet, Sequence[ExampleResult]]], *, width: int | None = None) -> list[Line]:
    """Return the results of worked examples.

    Args:
        results: each rule set with what came of its examples.
        width: columns of the terminal, or None where lines may be as long as they need.

    Returns:
        For each rule set a line, below it those examples that did not come out; last, the counts.
    """
    lines: list[Line] = []
    for ruleset, examples in results:
        failed = [each for each in examples if not each.passed]
        name = Span(f"{printable(ruleset.ruleset)} {printable(ruleset.version)}", "bold")
        if not examples:
            lines.append((Span("? ", "magenta"), name, Span("  has no worked example")))
            continue
        mark = Span("! ", "bold red") if failed else Span(". ", "green")
        lines.append((mark, name, Span(f"  {len(examples) - len(failed):,} of {count_of(len(examples), 'example')} as expected")))
        for each in failed:
            lines.append(line_of(f"    {printable(each.name)}", "bold red"))
            lines += _set_in(each.text, width)
    total = sum(len(examples) for _, examples in results)
    came_out = sum(each.passed for _, examples in results for each in examples)
    lines.append(
        line_of(f"{count_of(total, 'example')} in {count_of(len(results), 'rule set')}: {came_out:,} as expected, {total - came_out:,} not")
    )
    return lines


def _set_in(text: str, width: int | None) -> list[Line]:
    """Return text below an example's name."""
    shown = [printable(line) for line in text.splitlines()]
    parts = shown if width is None else [part for line in shown for part in wrap_prose(line, max(width - 6, _LEAST_WIDTH)) or [""]]
    return [line_of(f"      {part}") for part in parts]
