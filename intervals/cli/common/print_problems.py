"""What is said when a command cannot do its work: problems as they are, anything unexpected in one line.

In: an exception. Out: text on standard error, and the exit code. Refuses nothing.
"""

from __future__ import annotations

import errno
import sys
import traceback
from contextlib import suppress

from intervals.problems import Problem, ProblemsError

EXIT_CANNOT = 2
EXIT_READER_LEFT = 141  # what a shell reports of a program whose reader has gone: 128 + SIGPIPE

CLI_CODES: dict[str, str] = {
    "CLI010": "an engine that the site does not have",
    "CLI011": "a task that no rule set of the site has",
    "CLI012": "--month is not a month, or has not begun",
    "CLI013": "the engine is not in service at the date of judging",
    "CLI014": "--as-of is a time that the site's clock skips or shows twice",
    "CLI016": "a task that several rule sets of the engine have",
    "CLI015": "none of the tasks asked for is for any of the engines asked for",
    "CLI101": "--as-of is not a date",
    "CLI103": "--month and --as-of do not agree",
    "CLI104": "--due cannot be used with an output that always holds every task",
    "CLI105": "--due is not a span",
    "CLI106": "the handbook has no such page",
    "CLI107": "--calendar-until is neither a span nor a day",
    "CLI110": "the output file cannot be written",
    "CLI111": "a file cannot be read or written",
    "CLI120": "the month has not ended",
    "CLI121": "the month was stated already, and its files have changed since",
    "CLI122": "there is no statement to verify or amend",
    "CLI123": "a statement cannot be read",
    "CLI124": "two different rule sets have the same id; statements are kept by that id",
    "CLI125": "--amend, --reason and --by cannot be combined like this, or one of them is empty",
    "CLI126": "a statement that was tampered with, or that cannot be judged again, cannot be amended",
    "CLI112": "the folder already holds a site",
    "CLI113": "a folder or a rule set is asked for by an empty name",
    "CLI127": "a check code that is none",
    "CLI130": "--since or --until is not a day, or the span ends before it begins",
    "CLI131": "--set or --drop names something that the rule set does not have, or a value that it cannot have",
    "CLI132": "a proposal is for one rule set: the engines asked for use several, or do not use the one named",
    "CLI160": "a file is no card that was handed in, or a kept one cannot be read",
    "CLI161": "what was typed about a job, a record to take back or a deferral cannot be used",
    "CLI162": "the card of a sheet is not there",
    "CLI164": "a row cannot be appended to the service records, or would not read back as it is meant",
    "CLI165": "somebody else is writing records of the site",
    "CLI167": "there is no record to take back",
    "CLI140": "the cluster cannot be used, or was lost",
    "CLI141": "an option cannot be used with --cluster",
    "CLI142": "a site of several could not be judged: its process was ended from outside",
    "CLI143": "a site of several could not be judged: an error in the program",
    "CLI144": "an option cannot be used with several sites",
    "CLI150": "procedures cannot stand on one card: they set something differently, or need one another in a circle",
    "CLI151": "an option of card cannot be used like this, or a budget is asked for, for which no work is done",
    "CLI152": "the plan is not there or cannot be read, or has no such stop",
    "CLI155": "a file of blackouts or of expected demand cannot be read",
    "CLI156": "a file that would be written over is no plan that this program has made",
    "CLI157": "a plan has no day, or is asked for in a way that cannot be",
    "CLI159": "what lies in stock cannot be read",
    "CLI158": "the solver that plans stops is not installed",
    "CLI153": "a file is not a job card, or the card was altered",
    "CLI190": "the libraries that serve pages are not installed",
    "CLI191": "the address or port cannot be listened on",
    "CLI192": "the passphrase is needed, is too short, or cannot be read",
    "CLI193": "--bind is not an address, or --name not a name",
}
"""What each problem means that lies in what was asked for, and not in a file's content."""


def answer_error(error: Exception, *, debug: bool) -> int:
    """Say on standard error what went wrong.

    Args:
        error: what a command raised.
        debug: whether to show the traceback.

    Returns:
        The exit code.
    """
    if isinstance(error, BrokenPipeError):
        _quieten_output()
        return EXIT_READER_LEFT
    if debug:
        traceback.print_exception(error)
    if isinstance(error, ProblemsError):
        write_problems(error.problems)
    elif isinstance(error, OSError):
        reason = error.strerror or type(error).__name__
        file = _written_to(error) if error.filename is None else str(error.filename)
        _forget_unwritten()
        _say(problems_text([Problem(code="CLI111", file=file, line=None, path=None, text=reason)], width=_width()))
    else:
        _say(_fault_text(error, debug=debug))
    return EXIT_CANNOT


def write_problems(problems: tuple[Problem, ...] | list[Problem]) -> None:
    """Say on standard error what could not be done, all of it.

    Args:
        problems: the problems.
    """
    _say(problems_text(problems, width=_width()))


def _written_to(error: OSError) -> str:
    """Return what an error without a file's name is about: standard output, where it is of the kind that writing there meets."""
    return "standard output" if error.errno in (errno.ENOSPC, errno.EBADF, errno.EIO) else "the system"


def problems_text(problems: tuple[Problem, ...] | list[Problem], *, width: int | None = None) -> str:
    """Return all problems as they are printed, and how many they are.

    Args:
        problems: the problems.
        width: columns of the terminal, or None where lines may be as long as they need.
    """
    from intervals.reports.folding import fold_lines
    from intervals.reports.lines import line_of, printable
    from intervals.reports.text_columns import SET_IN
    from intervals.shown_numbers import count_of

    problem_lines = [line_of(printable(line)) for problem in problems for line in problem.render().splitlines()]
    # what is said of a problem is set in already: what it goes on with is set in twice
    folded = fold_lines([*problem_lines, line_of(count_of(len(problems), "problem"))], width, set_in=2 * SET_IN)
    return "\n".join("".join(span.text for span in line) for line in folded)


def _width() -> int | None:
    """Return the width of the terminal that standard error is, or None where it is none."""
    from intervals.cli.common.output import width_of_terminal

    return None if sys.stderr is None else width_of_terminal(sys.stderr)


def _fault_text(error: Exception, *, debug: bool) -> str:
    """Return the line that says that the program itself is at fault."""
    if isinstance(error, MemoryError):
        return "intervals: there is not enough memory for this"
    said = " ".join(str(error).split())
    more = "see the traceback above" if debug else "run it again as `intervals --debug ...` to see where"
    return f"intervals: an error in the program, not in your files: {type(error).__name__}: {said}; {more}"


def _say(text: str) -> None:
    """Write text to standard error, whatever its encoding can hold."""
    if sys.stderr is None:  # closed; only the exit code can tell
        return
    encoding = sys.stderr.encoding or "utf-8"
    try:
        sys.stderr.write(text.encode(encoding, "backslashreplace").decode(encoding) + "\n")
        sys.stderr.flush()
    except OSError:
        # full, or nobody listens: only the exit code can tell, and Python is not to try again when it ends
        sys.stderr = None


def _forget_unwritten() -> None:
    """Keep older Pythons (Debian 12 has one) from trying at their end to write again what could not be written, and answering 120."""
    if sys.stdout is None or sys.stdout.closed:
        return
    try:
        sys.stdout.flush()
    except OSError:
        with suppress(OSError):
            sys.stdout.close()


def _quieten_output() -> None:
    """Keep Python from complaining at its end that what it still holds cannot be written."""
    try:
        sys.stdout.close()
    except OSError as error:
        if error.errno != errno.EPIPE:
            raise
