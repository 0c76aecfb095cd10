"""A rule set as one page for a browser: nothing is fetched, nothing runs, and it prints.

In: a `RuleSet`. Out: HTML with its style in it. Drawn from the same chapters as the other forms; all text is escaped.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from intervals.reports.lines import printable
from intervals.reports.rules.rule_page import CAUTION, chapters_of, head_facts
from intervals.reports.rules.rule_words import task_words
from intervals.rules.ruleset import RuleSet

_STYLE = """
:root { --ink: #24302b; --soft: #5d6b64; --line: #d5dcd4; --paper: #fbfbf7; --leaf: #eef2ea; --accent: #2f6350; }
* { box-sizing: border-box; }
body { margin: 0; background: var(--paper); color: var(--ink); font: 16px/1.5 Georgia, "Liberation Serif", serif; }
main { max-width: 54rem; margin: 0 auto; padding: 2.5rem 1.25rem 4rem; }
h1 { font-size: 1.9rem; line-height: 1.2; margin: 0 0 1rem; }
h2 { font-size: 1.25rem; margin: 2.5rem 0 .75rem; padding-bottom: .3rem; border-bottom: 2px solid var(--accent); }
h3 { font-size: 1.02rem; margin: 0 0 .4rem; }
h3 code { color: var(--accent); font: 600 .95em ui-monospace, "Liberation Mono", monospace; }
section article { padding: .9rem 0; border-bottom: 1px solid var(--line); break-inside: avoid; }
dl { display: grid; grid-template-columns: minmax(8rem, 12rem) 1fr; gap: .15rem 1rem; margin: 0; }
dt { color: var(--soft); }
dd { margin: 0; overflow-wrap: anywhere; }
table { width: 100%; border-collapse: collapse; }
th, td { text-align: left; vertical-align: top; padding: .35rem .75rem .35rem 0; border-bottom: 1px solid var(--line); }
th { color: var(--soft); font-weight: normal; }
a { color: var(--accent); }
.caution { background: var(--leaf); padding: .8rem 1rem; margin: 1.5rem 0 0; }
@media (max-width: 34rem) { dl { grid-template-columns: 1fr; } dt { margin-top: .4rem; } }
@media print {
  body { background: none; font-size: 10.5pt; } main { max-width: none; padding: 0; }
  a { color: inherit; text-decoration: none; } h2 { break-after: avoid; }
}
"""


def rule_set_html(ruleset: RuleSet) -> str:
    """Return a rule set as one HTML page that needs nothing else.

    Args:
        ruleset: the rule set.

    Returns:
        The page, ended by a line feed.
    """
    parts = [
        "<!doctype html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">",
        f"<title>{_text(ruleset.title)}</title>",
        f"<style>{_STYLE}</style>",
        "</head>",
        "<body><main>",
        f"<header><h1>{_text(ruleset.title)}</h1>",
        _facts(head_facts(ruleset)),
        f'<p class="caution">{_text(CAUTION)}</p></header>',
        *_overview(ruleset),
    ]
    for title, entries in chapters_of(ruleset):
        parts.append(f"<section><h2>{_text(title)}</h2>")
        for index, (name, facts) in enumerate(entries):
            anchor = f' id="task-{index + 1}"' if title == "Tasks" else ""
            parts.append(f"<article{anchor}><h3>{_heading(name)}</h3>{_facts(facts)}</article>")
        parts.append("</section>")
    return "\n".join([*parts, "</main></body>", "</html>"]) + "\n"


def _overview(ruleset: RuleSet) -> Iterable[str]:
    """Yield the table of all tasks with their intervals."""
    yield '<nav aria-label="Tasks"><h2>At a glance</h2><table>'
    yield '<thead><tr><th scope="col">Task</th><th scope="col">Every</th></tr></thead><tbody>'
    for index, task in enumerate(ruleset.tasks):
        every = "<br>".join(_text(fact.text) for fact in task_words(task) if fact.name == "every")
        yield f'<tr><td><a href="#task-{index + 1}">{_text(task.title)}</a></td><td>{every}</td></tr>'
    yield "</tbody></table></nav>"


def _heading(name: str) -> str:
    """Return an entry's heading, its id set apart."""
    head, mark, rest = name.partition(": ")
    is_id = bool(mark) and " " not in head
    return f"<code>{_text(head)}</code> {_text(rest)}" if is_id else _text(name)


def _facts(facts: Iterable[tuple[str, str]]) -> str:
    """Return facts as a list of terms."""
    return "<dl>" + "".join(f"<dt>{_text(name)}</dt><dd>{_text(text)}</dd>" for name, text in facts) + "</dl>"


def _text(text: str) -> str:
    """Return text of a file as HTML that shows it as it is."""
    return escape(printable(" ".join(text.split())), quote=True)
