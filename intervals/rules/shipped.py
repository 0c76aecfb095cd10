"""The rule sets that come with the program, and where a rule set that somebody names is found.

In: a name or a path. Out: an existing file. Refuses (RUL001) names that nobody ships and files that are not there.
"""

from __future__ import annotations

from pathlib import Path

from intervals.places import shipped_folder
from intervals.problems import Problem, RuleSetProblemError, nearest_of


def shipped_rulesets() -> dict[str, Path]:
    """Return the shipped rule sets by name, in order of name."""
    folder = shipped_folder()
    return {path.stem: path for path in sorted(folder.rglob("*.yaml"), key=lambda path: path.stem)} if folder is not None else {}


def is_ruleset_path(text: str) -> bool:
    """Return whether a text is meant as a path, and not as the name of a shipped rule set."""
    return text.endswith((".yaml", ".yml")) or "/" in text or "\\" in text


def find_ruleset(name_or_path: str, beside: Path | None) -> Path:
    """Return the file of a rule set.

    Args:
        name_or_path: the name of a shipped rule set, or a path: absolute, relative to `beside`, or to the working folder.
        beside: the folder of the site that names it, or None.

    Returns:
        An existing file.

    Raises:
        RuleSetProblemError: RUL001, there is no such name or file.
    """
    if not name_or_path.strip():
        raise RuleSetProblemError([Problem("RUL001", "rule set", None, None, "the name is empty", "see: intervals rules list")])
    is_path = is_ruleset_path(name_or_path)
    shipped = shipped_rulesets()
    if not is_path and name_or_path in shipped:
        return shipped[name_or_path]
    tried = [folder / name_or_path for folder in ([beside] if beside is not None else []) + [Path()]]
    found = next((path for path in tried if is_path and path.is_file()), None)
    if found is not None:
        return found
    if is_path:
        text, fix = "there is no such file", "write the path from the site's folder or from the working folder"
    else:
        beside_it = tried[0].parent / f"{name_or_path}.yaml"
        local = beside_it.name if beside_it.is_file() else None
        text = f'no shipped rule set is named "{name_or_path}"{nearest_of(name_or_path, shipped)}'
        fix = (
            f'write "./{local}" for the file beside the site'
            if local
            else f"shipped: {', '.join(shipped) or 'none'}; or write a path, such as ./my-rules.yaml"
        )
    raise RuleSetProblemError([Problem("RUL001", name_or_path, None, None, text, fix)])
