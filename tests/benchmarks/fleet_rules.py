"""The rule set of the benchmark fleet: twenty tasks, two adjustments hour by hour, one judged on the window.

In: nothing. Out: `TASKS` (the generator places the service records by it), the two pairs of thresholds that cut the
duty cells, and `ruleset_document()`, plain data to be written as YAML. The intervals are made up for the benchmark:
short enough that a log of a year or so holds several completions of each task.
"""

from __future__ import annotations

from typing import Any, NamedTuple

# Two thresholds each, so that a level falls into five cells and an unknown one.
LOAD_THRESHOLDS_PCT = (40.0, 90.0)
SULPHUR_THRESHOLDS_PCT = (0.5, 1.0)
LOAD_COUNTS_AS = 1.5
SULPHUR_COUNTS_AS = 2.0


class FleetTask(NamedTuple):
    """One task of the fleet: its interval in running hours and in days, and which adjustments weigh its hours."""

    id: str
    title: str
    interval_h: int
    interval_days: int
    load_counts: bool
    sulphur_counts: bool


TASKS = (
    FleetTask("oil-level", "Check lube oil level and top up", 250, 30, load_counts=False, sulphur_counts=False),
    FleetTask("oil-sample", "Take a lube oil sample", 500, 60, load_counts=True, sulphur_counts=True),
    FleetTask("oil-change", "Change lube oil", 1500, 180, load_counts=True, sulphur_counts=True),
    FleetTask("oil-filters", "Change lube oil filters", 1500, 180, load_counts=True, sulphur_counts=True),
    FleetTask("bypass-filter", "Clean the centrifugal bypass filter", 500, 60, load_counts=True, sulphur_counts=True),
    FleetTask("fuel-prefilter", "Drain the fuel prefilter", 250, 30, load_counts=False, sulphur_counts=False),
    FleetTask("fuel-filters", "Change fuel filters", 1000, 120, load_counts=False, sulphur_counts=False),
    FleetTask("injectors", "Test the injectors", 2000, 240, load_counts=True, sulphur_counts=True),
    FleetTask("valve-clearance", "Check valve clearances", 1000, 150, load_counts=True, sulphur_counts=False),
    FleetTask("valve-rotators", "Check valve rotators", 2000, 240, load_counts=True, sulphur_counts=False),
    FleetTask("air-filters", "Change air filters", 1500, 180, load_counts=False, sulphur_counts=False),
    FleetTask("charge-air-cooler", "Clean the charge air cooler", 2500, 270, load_counts=True, sulphur_counts=True),
    FleetTask("turbocharger-wash", "Wash the compressor side of the turbocharger", 300, 45, load_counts=True, sulphur_counts=False),
    FleetTask("coolant-test", "Test coolant and inhibitor", 500, 90, load_counts=False, sulphur_counts=False),
    FleetTask("coolant-pump", "Inspect the coolant pump seal", 2000, 240, load_counts=False, sulphur_counts=False),
    FleetTask("hoses", "Inspect hoses and belts", 1000, 120, load_counts=False, sulphur_counts=False),
    FleetTask("crankcase-breather", "Clean the crankcase breather", 750, 100, load_counts=True, sulphur_counts=False),
    FleetTask("crankshaft-deflection", "Measure crankshaft deflection", 2500, 270, load_counts=True, sulphur_counts=False),
    FleetTask("starting-system", "Inspect batteries and starter", 500, 60, load_counts=False, sulphur_counts=False),
    FleetTask("governor", "Check the governor and its linkage", 1500, 180, load_counts=False, sulphur_counts=False),
)


def ruleset_document() -> dict[str, Any]:
    """Give the rule set as plain data, in the layout of a rule set file."""
    tasks = [
        {
            "id": task.id,
            "title": task.title,
            "every": {"running_hours": task.interval_h, "calendar": f"P{task.interval_days}D"},
            "tolerance_pct": 10,
            "stops_engine": task.id == "oil-change",
            "source": "made up for the benchmark",
        }
        for task in TASKS
    ]
    return {
        "ruleset": "benchmark-fleet",
        "title": "Twenty tasks of a made-up fleet",
        "version": "1.0",
        "source": "made up for the benchmark",
        "tasks": tasks,
        "adjustments": _adjustments(),
        "limits": {"counts_as_at_most": 4, "interval_times_at_least": 0.25},
        "examples": [_example()],
    }


def _adjustments() -> list[dict[str, Any]]:
    """Two rules that weigh hours, and one that shortens an interval for frequent starts."""
    load_low, load_high = LOAD_THRESHOLDS_PCT
    sulphur_low, sulphur_high = SULPHUR_THRESHOLDS_PCT
    return [
        {
            "id": "load-outside-band",
            "tasks": [task.id for task in TASKS if task.load_counts],
            "when": {"any_of": [{"load_pct": {"below": load_low}}, {"load_pct": {"above": load_high}}]},
            "counts_as": LOAD_COUNTS_AS,
            "because": "Idling fouls and overload overheats.",
            "source": "made up for the benchmark",
        },
        {
            "id": "sulphur-half",
            "tasks": [task.id for task in TASKS if task.sulphur_counts],
            "when": {"fuel_sulphur_pct": {"at_least": sulphur_low, "at_most": sulphur_high}},
            "counts_as": SULPHUR_COUNTS_AS,
            "because": "Acids use up the oil's base reserve.",
            "source": "made up for the benchmark",
        },
        {
            "id": "frequent-starts",
            "tasks": ["oil-change", "starting-system", "turbocharger-wash"],
            "when": {"starts_per_100h": {"above": 2}},
            "interval_times": 0.8,
            "because": "Cold starts wash fuel into the oil.",
            "source": "made up for the benchmark",
        },
    ]


def _example() -> dict[str, Any]:
    """One worked example: the oil change at 0.8 % sulphur."""
    return {
        "name": "Sulphur between the thresholds halves the oil's hours",
        "engine": {"fuel": "diesel", "rated_kw": 1000},
        "since_last": {"running_hours": 800, "days": 40, "starts": 4, "load_pct": 60, "fuel_sulphur_pct": 0.8},
        "task": "oil-change",
        "expect": {"used": 1600, "allowed": 1500, "standing": "overdue", "fired": ["sulphur-half"]},
    }
