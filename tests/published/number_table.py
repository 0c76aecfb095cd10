"""Which test checks which number from outside: the marks `outside` of all tests, as a table in README.md beside this file.

python -m tests.published.number_table
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import yaml

HERE = Path(__file__).parent
TESTS = HERE.parent
PAGE = HERE / "README.md"


def numbers() -> dict[str, str]:
    """Return every number from outside: what it is, by section and row."""
    found: dict[str, str] = yaml.safe_load((HERE / "numbers.yaml").read_text(encoding="utf-8"))
    return found


def marked_tests() -> dict[str, list[str]]:
    """Return the tests that check a number, by number: file from the tests' folder, and name."""
    found: dict[str, list[str]] = {}
    for path in sorted(TESTS.rglob("test_*.py")):
        text = path.read_text(encoding="utf-8")
        if "mark.outside" not in text:
            continue
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.FunctionDef):
                for number in _marks_of(node):
                    found.setdefault(number, []).append(f"{path.relative_to(TESTS).as_posix()}::{node.name}")
    return found


def _marks_of(test: ast.FunctionDef) -> Iterator[str]:
    """Yield the numbers of a test's marks."""
    for mark in test.decorator_list:
        if isinstance(mark, ast.Call) and ast.unparse(mark.func) == "pytest.mark.outside":
            yield from (argument.value for argument in mark.args if isinstance(argument, ast.Constant) and isinstance(argument.value, str))


def page() -> str:
    """Return the page: every number with the tests that check it."""
    tests = marked_tests()
    lines = [
        "<!-- Made by `python -m tests.published.number_table`; mark the tests, not this page. -->",
        "",
        "# Numbers from outside, and the tests that check them",
        "",
        'Every number from outside the project has a test that is marked with its section and row: `@pytest.mark.outside("1.Z1")`. Tests',
        "in this folder write a site's folder and run `intervals check` on it, by the rule sets as shipped; each file names its documents.",
        "",
        "| number | what it is | tests |",
        "|---|---|---|",
    ]
    for number, what in numbers().items():
        lines.append(f"| {number} | {what} | {'<br>'.join(f'`{test}`' for test in tests.get(number, ['none']))} |")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
