"""What the plan of a site says of the findings: tasks whose stop lies beyond their line.

In: findings, and the request that they answer. Out: the same, with what is planned late. Refuses nothing; a plan that cannot be read is a
fault.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from intervals.cli.common.site_request import SiteRequest
    from intervals.findings import Findings


def has_plan(asked: SiteRequest) -> bool:
    """Tell whether the site has a plan of stops."""
    return (asked.site.folder / "plan.yaml").is_file()


def with_plan(findings: Findings, asked: SiteRequest) -> Findings:
    """Return findings with the tasks that the site's plan has beyond their line, where it has a plan."""
    if not has_plan(asked):
        return findings
    from intervals.questions.plan.beyond_line import with_planned_late
    from intervals.reports.check.due_words import last_day_of

    return with_planned_late(findings, asked.site, last_day_of(findings.as_of), ruleset=asked.judging["ruleset"])
