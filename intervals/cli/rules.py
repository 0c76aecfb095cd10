"""`intervals rules`: the rule sets that are there, what they say, whether they hold together, and whether their examples come out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from intervals.cli.common.command import Command, answers
from intervals.cli.common.formats import Format, drawn, written
from intervals.cli.common.options import OutputOption, named_path
from intervals.cli.common.output import Answer

if TYPE_CHECKING:
    from collections.abc import Iterable

    from intervals.problems import Problem
    from intervals.reports.lines import Line
    from intervals.rules.ruleset import RuleSet

app = typer.Typer(
    help="List, show, check and test rule sets.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    add_completion=False,
)


class PageFormat(Format):
    """What `rules show` prints."""

    TEXT = drawn("text", "intervals.reports.rules.rule_page:rule_set_lines")
    MARKDOWN = written("markdown", "intervals.reports.rules.rule_page:rule_set_markdown")
    HTML = written("html", "intervals.reports.rules.rule_html:rule_set_html")


class DiffFormat(Format):
    """What `rules diff` prints."""

    TEXT = drawn("text", "intervals.reports.rules.rule_diff:diff_lines")
    JSON = written("json", "intervals.reports.rules.rule_diff:diff_document")


@app.command("list")
@answers
def list_rules() -> Answer:
    """List the rule sets that come with the program.

    For each: the name that site.yaml and --ruleset take, its version, its title, its tasks, which engines they are for, its source.

    \b
    Example:
      intervals rules list
    """  # noqa: D301 - \b is the mark for lines that the help must not join
    from intervals.reports.rules.rule_page import rule_list_lines
    from intervals.rules.ruleset import load_ruleset, shipped_rulesets

    rulesets = [load_ruleset(path) for path in shipped_rulesets().values()]
    return Answer(lambda width: rule_list_lines(rulesets, width=width))


@app.command("show", short_help="Show a rule set in words, with reasons and sources.")
@answers
def show_rules(
    *,
    name: Annotated[str, typer.Argument(metavar="NAME|PATH", help="A rule set from rules list, or a YAML file.", show_default=False)],
    output_format: Annotated[
        PageFormat, typer.Option("--format", help="Text to read here, or a page in Markdown or HTML.")
    ] = PageFormat.TEXT,
    output: OutputOption = None,
) -> Answer:
    """Show a rule set in words: every task and adjustment, why it is there, and its source.

    \b
    Examples:
      intervals rules show gas-engine
      intervals rules show gas-engine --format html --output gas-engine.html
    """  # noqa: D301 - \b is the mark for lines that the help must not join
    (ruleset,) = _read_rulesets([name], output)
    return output_format.answer(ruleset, output=output)


@app.command("diff", short_help="Say in words what differs between two rule sets.")
@answers
def compare_rules(
    *,
    before: Annotated[str, typer.Argument(metavar="A", help="A rule set from rules list, or a YAML file.", show_default=False)],
    after: Annotated[str, typer.Argument(metavar="B", help="The one to compare it with.", show_default=False)],
    output_format: Annotated[DiffFormat, typer.Option("--format", help="Text to read here, or JSON.")] = DiffFormat.TEXT,
    output: OutputOption = None,
) -> Answer:
    """Say in words what differs between two rule sets: tasks, intervals, adjustments, conditions, limits, sources, examples.

    Comments, the order of keys and how a rule set is based on another are not compared.

    \b
    Exit codes:
      0  both say the same
      1  something differs
      2  one cannot be used; every problem is listed on standard error

    \b
    Example:
      intervals rules diff gas-engine my-rules.yaml
    """  # noqa: D301 - \b is the mark for lines that the help must not join
    from intervals.reports.rules.rule_diff import differences_of

    one, other = _read_rulesets([before, after], output)
    return output_format.answer(one, other, output=output, exit_code=1 if differences_of(one, other) else 0)


@app.command("pages", short_help="Write a page for each rule set, and one of all sources.")
@answers
def make_pages(
    *,
    folder: Annotated[
        Path,
        typer.Option(
            "--output",
            metavar="FOLDER",
            parser=named_path,
            help="The folder of the pages; made if it does not exist.",
            show_default=False,
        ),
    ],
    check: Annotated[bool, typer.Option("--check", help="Write nothing; say which pages are not current.")] = False,
) -> Answer:
    """Write a page for each rule set that comes with the program, and a page of all their sources.

    sources.md lists every value with its document, edition and place, or with "common practice", "from memory", "worked",
    "chosen here" or "the user's own". Pages that this command made are made anew; where another file bears the name of one, nothing is
    written.

    \b
    Exit codes:
      0  written, or with --check: all pages are current
      1  with --check: a page is missing, not current, or left over
      2  a rule set cannot be used, or a page cannot be written or would replace a file of another kind

    \b
    Examples:
      intervals rules pages --output rulesets/pages
      intervals rules pages --output rulesets/pages --check
    """  # noqa: D301 - \b is the mark for lines that the help must not join
    from intervals.cli.common.output_guards import guard_foreign
    from intervals.reports.lines import line_of
    from intervals.reports.rules.rule_pages import foreign_pages, pages_of, stale_pages
    from intervals.rules.ruleset import load_ruleset, shipped_rulesets
    from intervals.shown_numbers import count_of
    from intervals.writing import write_whole

    pages = pages_of([load_ruleset(path) for path in shipped_rulesets().values()])
    if not check:
        guard_foreign(foreign_pages(pages, folder))
    stale = stale_pages(pages, folder)
    if check:
        stale_lines = [line_of(f"{folder / name}: {what}") for name, what in stale]
        stale_lines.append(line_of(f"{count_of(len(pages), 'page')}, {len(stale)} to be made again"))
        return Answer(lambda _: stale_lines, exit_code=1 if stale else 0)
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in pages.items():
        write_whole(folder / name, text)
    for name, what in stale:
        if what == "left over":
            (folder / name).unlink()
    return Answer(lambda _: [line_of(f"{count_of(len(pages), 'page')} in {folder}, {len(stale)} of them new or changed")])


@app.command("lint")
@answers
def lint_rules(
    *,
    files: Annotated[list[Path], typer.Argument(metavar="FILE|NAME", help="Rule set files, or names from rules list.", show_default=False)],
) -> Answer:
    """Check rule sets without judging anything.

    Errors are what would stop a judgement; warnings are what is likely not meant: a rule without its grounds, a rule set without
    worked examples, a factor on a mean that later running can dilute, bands that overlap or leave a gap, a rule that can never hold.

    \b
    Exit codes:
      0  nothing to say
      1  warnings only
      2  errors, listed on standard error

    \b
    Example:
      intervals rules lint my-rules.yaml
    """  # noqa: D301 - \b is the mark for lines that the help must not join
    from intervals.problems import RuleSetProblemError
    from intervals.rules.review.lint import lint_ruleset
    from intervals.rules.ruleset import find_ruleset

    errors: list[Problem] = []
    warnings: list[Problem] = []
    for file in files:
        try:
            # a file that is there is meant, whatever its name; so is one whose name ends like a rule set's
            is_file = file.is_file() or file.suffix in (".yaml", ".yml")
            found, doubted = lint_ruleset(file if is_file else find_ruleset(str(file), beside=None))
        except RuleSetProblemError as error:
            found, doubted = list(error.problems), []
        errors += found
        warnings += doubted
    answer = Answer(lambda _: _warning_lines(warnings, None if errors else len(files)), exit_code=1 if warnings else 0)
    if errors:
        answer.deliver()
        raise RuleSetProblemError(errors)
    return answer


@app.command("test", short_help="Judge the worked examples of rule sets.")
@answers
def judge_examples(
    *,
    names: Annotated[
        list[str] | None,
        typer.Argument(metavar="FILE|NAME", help="Rule sets; without any, all that come with the program.", show_default=False),
    ] = None,
) -> Answer:
    """Judge the worked examples of rule sets and compare with what they expect.

    \b
    Exit codes:
      0  every example came out as expected
      1  one did not, or a rule set has no example
      2  a rule set cannot be used; every problem is listed on standard error

    \b
    Example:
      intervals rules test my-rules.yaml
    """  # noqa: D301 - \b is the mark for lines that the help must not join
    from intervals.questions.examples.examples import run_examples
    from intervals.reports.rules.example_table import example_lines
    from intervals.rules.ruleset import find_ruleset, load_ruleset, shipped_rulesets

    paths = [find_ruleset(name, beside=None) for name in names] if names else list(shipped_rulesets().values())
    rulesets = [load_ruleset(path) for path in paths]
    results = [(ruleset, run_examples(ruleset)) for ruleset in rulesets]
    came_out = all(examples and all(each.passed for each in examples) for _, examples in results)
    return Answer(lambda width: example_lines(results, width=width), exit_code=0 if came_out else 1)


def _read_rulesets(names: Iterable[str], output: Path | None) -> list[RuleSet]:
    """Return rule sets, of which something is written to a file where one is named; everything that is wrong is reported together."""
    from intervals.cli.common.output_guards import guard_places, guard_ruleset
    from intervals.cli.common.problem_collector import ProblemCollector
    from intervals.rules.ruleset import find_ruleset, load_ruleset

    problems = ProblemCollector()
    problems.collect(guard_places, output)
    paths = [problems.collect(find_ruleset, name, beside=None) for name in names]
    found = [path for path in paths if path is not None]
    for path in found:
        problems.collect(guard_ruleset, path, output)
    loaded = [problems.collect(load_ruleset, path) for path in found]
    problems.refuse_alone()
    return [ruleset for ruleset in loaded if ruleset is not None]


def _warning_lines(warnings: list[Problem], files: int | None) -> list[Line]:
    """Return the warnings, and below them how many there are in how many files that can be used."""
    from intervals.reports.lines import line_of, printable
    from intervals.shown_numbers import count_of

    lines = [line_of(printable(text)) for warning in warnings for text in warning.render().splitlines()]
    if files is not None:
        lines.append(line_of(f"{count_of(len(warnings), 'warning')} in {count_of(files, 'rule set')}"))
    return lines


COMMAND = Command(app, place=120)
