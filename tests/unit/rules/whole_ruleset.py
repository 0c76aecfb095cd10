"""A rule set that uses every key, as a person writes it."""

from __future__ import annotations

WHOLE = """\
ruleset: gas-engine
title: Lean-burn gas engine, heat and power
version: 2026.10
source: common practice
attributes: {extended_pan: an extension tank is fitted}
tasks:
  - id: oil-change
    title: Change lube oil and filters
    applies_to: {fuel: [natural-gas, biogas]}
    every: {running_hours: 2000, calendar: P1Y}
    whichever: last
    first: {running_hours: 100}
    lead: {running_hours: 150, calendar: P14D}
    tolerance_pct: 0.1
    early_pct: 12.5
    visit_days: 5
    renews: oil-sample
    makes_new: all
    stops_engine: true
    restarts_from: due_if_late
    in_lay_up: counts
    source: the plant's own
    because: >
      Oil ages.
    notes: none
  - id: oil-sample
    title: Take an oil sample
    every:
      - {in_force_from: 2013-05-03, running_hours: 500, calendar: P1Y, source: "the text of 2013"}
      - {in_force_from: 2024-08-30, running_hours: 500, calendar: P1Y30D, vibration_hours: 5}
conditions:
  hot: {oil_temp_c: {above: 95}}
  very_hot: {condition: hot, load_pct: {above: 90}}
adjustments:
  - id: heavy-load
    tasks: [oil-change]
    when: {load_pct: {above: 90}}
    counts_as: 1.5
    when_unknown: holds
    because: Heat.
    source: common practice
  - {id: hot-share, tasks: all, when: {hours_share_pct: {very_hot: {above: 20}}}, interval_times: 0.8, known_share_at_least: 0.7}
  - {id: pan, tasks: oil-change, when: {extended_pan: true}, interval_becomes: {running_hours: 3000}}
limits: {counts_as_at_most: 4, interval_times_at_least: 0.25}
examples:
  - name: Heavy load halves nothing
    engine: {fuel: biogas, rated_kw: 500}
    since_last: {running_hours: 1010, days: 40, load_pct: 95}
    task: oil-change
    as_of: 2026-01-01
    first: true
    expect: {used: 1515, allowed: 2000, standing: upcoming, fired: heavy-load, due_on: 2026-05-01}
"""
