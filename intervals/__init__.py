"""Maintenance-interval compliance of stationary engines: what is overdue, upcoming, in interval or skipped, by how much, and why.

The public API. In: a site folder and a date. Out: `Findings`. Refuses by `ProblemsError`, with every problem at once.

    site = intervals.read_site("sample_logs/brackwater")
    findings = intervals.assess(site, date(2026, 10, 31))

Importing this package loads nothing else: each name is fetched from its module when it is first asked for, so that the command
line answers `--help` at once.
"""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from intervals.findings import Findings
    from intervals.problems import Problem, ProblemsError
    from intervals.questions.check.assess import assess_site as assess
    from intervals.rules.ruleset import RuleSet
    from intervals.site.model import Site
    from intervals.version import __version__ as __version__

__all__ = ["Findings", "Problem", "ProblemsError", "assess", "read_ruleset", "read_site"]

_PLACES = {
    "__version__": ("intervals.version", "__version__"),
    "assess": ("intervals.questions.check.assess", "assess_site"),
    "Findings": ("intervals.findings", "Findings"),
    "Problem": ("intervals.problems", "Problem"),
    "ProblemsError": ("intervals.problems", "ProblemsError"),
}


def read_site(folder: str | Path) -> Site:
    """Return the site that a folder describes.

    Args:
        folder: the folder that holds `site.yaml`.

    Returns:
        The site, ready for `assess`.

    Raises:
        ProblemsError: `site.yaml` cannot be used (codes SIT), with every problem found.
    """
    from intervals.site.model import load_site  # noqa: PLC0415 - importing the package loads nothing

    return load_site(Path(folder))


def read_ruleset(name_or_path: str | Path) -> RuleSet:
    """Return a rule set, validated.

    Args:
        name_or_path: the name of a shipped rule set, such as `gas-engine`, or the path of a YAML file.

    Returns:
        The rule set.

    Raises:
        ProblemsError: there is none of that name, or it cannot be used (codes RUL), with every problem found.
    """
    from intervals.rules.ruleset import find_ruleset, load_ruleset  # noqa: PLC0415 - importing the package loads nothing

    return load_ruleset(find_ruleset(str(name_or_path), beside=None))


def __getattr__(name: str) -> object:
    """Return a public name from the module that defines it."""
    if name not in _PLACES:
        message = f"module {__name__!r} has no attribute {name!r}"
        raise AttributeError(message)
    module, attribute = _PLACES[name]
    return getattr(import_module(module), attribute)


def __dir__() -> list[str]:
    """Return the public names."""
    return sorted(__all__)
