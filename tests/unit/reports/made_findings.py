"""Findings made by hand for the tests of the reports and of the command line."""

from __future__ import annotations

from intervals.findings import (
    Amount,
    Deferral,
    FaultLine,
    Finding,
    Findings,
    Forecast,
    LastDone,
    Leg,
    Reason,
    Rows,
    RuleSetUsed,
    Skipped,
    StandingWord,
    Totals,
)
from intervals.occurrences import Compliance, Occurrence, WeightCount
from intervals.questions.explain.explanation_models import CellLine, Explanation, FactorLine, Measure, RulePlace, Step
from intervals.questions.log.log_models import EngineLogSummary, LogSummary

AS_OF = "2026-11-01T00:00:00+01:00"


def hours_leg(used: float | None, allowed: float | None = 2000.0, *, plain_h: float | None = None) -> Leg:
    """Return a leg of running hours, with what follows from used and allowed."""
    known = used is not None and allowed is not None
    return Leg(
        leg="running_hours",
        unit="h",
        used=used,
        base=2000.0,
        allowed=allowed,
        remaining=round(allowed - used, 6) if known else None,  # type: ignore[operator] # both are known here
        consumed=round(used / allowed, 6) if known else None,  # type: ignore[operator] # both are known here
        running_hours_h=used if plain_h is None else plain_h,
    )


def calendar_leg(used: float, allowed: float = 365.0, base: str = "P1Y") -> Leg:
    """Return a calendar leg in days."""
    return Leg(leg="calendar", unit="d", used=used, base=base, allowed=allowed, remaining=allowed - used, consumed=round(used / allowed, 6))


def finding(  # each figure of a finding can be set apart
    engine: str = "G1",
    task: str = "oil-change",
    standing: StandingWord = "overdue",
    *,
    legs: tuple[Leg, ...] | None = None,
    governing: str | None = "running_hours",
    past_by: float | None = None,
    within_tolerance: bool = False,
    deferred_until: Deferral | None = None,
    due_on: str | None = "2026-10-09",
    forecast: Forecast | None = None,
    reasons: tuple[Reason, ...] | None = None,
    unknown_hours_h: float = 0.0,
) -> Finding:
    """Return one finding; by default an overdue oil change as the design's example has it."""
    return Finding(
        engine=engine,
        task=task,
        title="Change lube oil and filters",
        standing=standing,
        within_tolerance=within_tolerance,
        governing=governing,
        legs=legs if legs is not None else (hours_leg(2311.0, plain_h=2102.5), calendar_leg(151.0)),
        last_done=LastDone(at="2026-06-02T10:15:00+02:00", hour_meter_h=18210.0, record="services.csv:41"),
        due_on=due_on,
        crossed_at="2026-10-09T14:00:00+02:00" if standing == "overdue" else None,
        past_by=Amount(value=past_by, unit="h") if past_by is not None else None,
        forecast=forecast,
        deferred_until=deferred_until,
        unknown_hours_h=unknown_hours_h,
        reasons=reasons
        if reasons is not None
        else (
            Reason(
                rule="past-interval",
                text="2,311 equivalent hours since 2026-06-02 (services.csv:41), allowed 2,000",
                facts={"consumed": 1.1555},
                source=None,
            ),
            Reason(
                rule="heavy-load",
                text="417 h above 90 % load count 1.5 times",
                facts={"hours_h": 417.0, "counts_as": 1.5},
                source="common practice",
            ),
        ),
    )


def fleet() -> tuple[Finding, ...]:
    """Return one finding of each standing, and one that an approved deferral holds."""
    return (
        finding(past_by=311.0),
        finding(
            "G1",
            "spark-plugs",
            "upcoming",
            legs=(hours_leg(1999.996),),
            due_on="2026-11-01",
            reasons=(Reason(rule="inside-lead", text="0.004 h left of 2,000, lead 200 h", facts={}, source=None),),
        ),
        finding(
            "G1",
            "hoses",
            "in_interval",
            legs=(calendar_leg(151.0),),
            governing="calendar",
            due_on="2027-06-02",
            reasons=(Reason(rule="in-interval", text="151 of 365 days", facts={}, source="practice"),),
        ),
        finding(
            "G2",
            "oil-change",
            "unknown",
            legs=(hours_leg(None),),
            governing=None,
            due_on=None,
            reasons=(Reason(rule="leg-unknown", text="no meter tells the hours", facts={}, source=None),),
            unknown_hours_h=12.5,
        ),
        finding(
            "G2",
            "coolant",
            "upcoming",
            legs=(hours_leg(2016.0),),
            due_on=None,
            forecast=Forecast(on="2026-11-20", early="2026-11-12", late=None),
            deferred_until=Deferral(hour_meter_h=18500.0, date="2026-12-31"),
            reasons=(Reason(rule="deferred", text="deferred until 18,500 h by the chief engineer", facts={}, source=None),),
        ),
    )


def made_findings(
    findings: tuple[Finding, ...] | None = None,
    *,
    skipped: tuple[Skipped, ...] | None = None,
    faults: tuple[FaultLine, ...] | None = None,
    compliance: Compliance | None = None,
) -> Findings:
    """Return the findings of a site, with totals that fit."""
    entries = fleet() if findings is None else findings
    omitted = (skipped_oil(),) if skipped is None else skipped
    standings = [entry.standing for entry in entries]
    return Findings(
        site="brackwater",
        as_of=AS_OF,
        rulesets=(RuleSetUsed(ruleset="gas-engine", version="2026.11", sha256="ab" * 32),),
        findings=entries,
        skipped=omitted,
        faults=(odd_reading(812),) if faults is None else faults,
        rows=Rows(read=52560, accepted=52541, set_aside=19),
        totals=Totals(
            overdue=standings.count("overdue"),
            upcoming=standings.count("upcoming"),
            in_interval=standings.count("in_interval"),
            unknown=standings.count("unknown"),
            skipped_open=sum(each.open for each in omitted),
        ),
        compliance=compliance,
    )


def skipped_oil(*, still_open: bool = True, task: str = "spark-plugs") -> Skipped:
    """Return one skipped occurrence."""
    return Skipped(
        engine="G1",
        task=task,
        kind="left_out",
        open=still_open,
        at="2026-06-02",
        text="left out when the engine stood for oil-change",
        rule="left-out",
    )


def odd_reading(line: int, kind: str = "meter_reading_odd") -> FaultLine:
    """Return one fault of a reading."""
    return FaultLine(
        engine="G2", kind=kind, file="readings/2026-03.csv", line=line, at=AS_OF, text="91,234 h between 12,001 h and 12,025 h"
    )


def october() -> Compliance:
    """Return the month of the published example: 318 on time of 384."""
    late = Occurrence(
        engine="G1",
        task="oil-change",
        weight="engine",
        met="late",
        open=False,
        line_on="2026-10-09",
        decided_on="2026-10-20",
        done_on="2026-10-30",
        consumed=1.21,
        deferred=True,
        text="done 420 h past its line",
    )
    on_time = late.model_copy(update={"met": "on_time", "deferred": False, "text": "in time"})
    engine = WeightCount(on_time=18, late=66, missed=20, open=6, figure=18 / 84)
    return Compliance(
        month="2026-10",
        on_time=318,
        late=66,
        missed=20,
        open=6,
        pending=3,
        deferred=1,
        early=12,
        figure=318 / 384,
        by_weight={"safety": WeightCount(on_time=300, late=0, missed=0, open=0, figure=1.0), "engine": engine},
        occurrences=(late, on_time),
    )


def made_explanation() -> Explanation:
    """Return the sum behind the overdue oil change."""
    return Explanation(
        finding=finding(past_by=311.0),
        window=(Step(label="from", sum="2026-06-02T10:15:00+02:00, services.csv:41"), Step(label="to", sum=AS_OF)),
        cells=(
            CellLine(levels={"load_pct": "up to 90"}, hours_h=1685.5, counts_as=1.0, equivalent_h=1685.5, rules=()),
            CellLine(levels={"load_pct": "above 90"}, hours_h=417.0, counts_as=1.5, equivalent_h=625.5, rules=("heavy-load",)),
            CellLine(levels={}, hours_h=0.004, counts_as=1.0, equivalent_h=0.004, rules=(), unknown_rules=("sulphur-half",)),
        ),
        measures=(
            Measure(name="starts_per_100h", value=12.5, unit="per 100 h"),
            Measure(name="mean_oil_temp_c", value=None, unit="degC", note="known for 20 % of the hours"),
            Measure(name="extended_pan", value=True, unit=""),
        ),
        factors=(FactorLine(rule="frequent-starts", effect="x 0.8", because="starts wear", source="practice"),),
        steps=(Step(label="used", sum="1,685.5 + 625.5 = 2,311 h"),),
        rules=(RulePlace(rule="heavy-load", place="gas-engine.yaml:41", because="load ages oil", source="common practice"),),
        doubts=("3 h of meter_ran_fast on 2026-07-01",),
    )


def made_log() -> LogSummary:
    """Return what was read of two engines."""
    first = EngineLogSummary(
        engine="G1",
        rows=26280,
        first_at="2024-01-15T01:00:00+01:00",
        last_at=AS_OF,
        meter_first_h=0.0,
        meter_last_h=18210.0,
        running_hours_h=18210.0,
        unknown_time_h=0.0,
        doubtful_hours_h=3.0,
        gaps=2,
        gap_h=90.5,
        faults=1,
        known_share_pct={"load_pct": 99.9999, "oil_temp_c": 100.0},
    )
    second = EngineLogSummary(
        engine="G2",
        rows=0,
        first_at=None,
        last_at=None,
        meter_first_h=None,
        meter_last_h=None,
        running_hours_h=0.0,
        unknown_time_h=24.0,
        doubtful_hours_h=0.0,
        gaps=0,
        gap_h=0.0,
        faults=0,
        known_share_pct={},
    )
    return LogSummary(
        site="brackwater",
        as_of=AS_OF,
        engines=(first, second),
        faults=(odd_reading(812),),
        rows=Rows(read=52560, accepted=52541, set_aside=19),
    )
