"""`intervals schema`: the JSON Schema of a file that a person writes, or of the document that comes out."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

import typer

from intervals.cli.common.command import Command, answers
from intervals.cli.common.options import OutputOption
from intervals.cli.common.output import Answer


class SchemaOf(StrEnum):
    """What a schema is asked for."""

    SITE = "site"
    RULESET = "ruleset"
    FINDINGS = "findings"
    SITES = "sites"
    EXPLANATION = "explanation"
    LOG = "log"
    DUTY = "duty"
    WHAT_IF = "what-if"
    PLAN = "plan"
    CARD = "card"
    HANDED_IN = "handed-in"
    RECORD = "record"


@answers
def schema(
    *,
    of: Annotated[
        SchemaOf,
        typer.Argument(
            metavar="site|ruleset|findings|sites|explanation|log|duty|what-if|plan|card|handed-in|record",
            help="A site, a rule set, a card, what is handed in of it, or what a command prints with --format json.",
            show_default=False,
        ),
    ],
    output: OutputOption = None,
) -> Answer:
    """Print the JSON Schema of a site file, a rule set or the findings.

    An editor that knows JSON Schema completes and checks site.yaml and rule sets with it; init puts one beside a new site.yaml.

    \b
    Exit codes:
      0  printed
      2  the output file cannot be written

    \b
    Examples:
      intervals schema findings
      intervals schema ruleset --output ruleset.schema.json
    """  # noqa: D301 - \b is the mark for lines that the help must not join
    from intervals.cli.common.output_guards import guard_site_names
    from intervals.documents import json_text
    from intervals.reports.schemas import schema_of

    guard_site_names(output)
    return Answer(json_text(schema_of(of.value)), output)


COMMAND = Command(schema, place=110, short_help="Print the JSON Schema of a file or of a document.")
