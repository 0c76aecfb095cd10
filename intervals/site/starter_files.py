"""What a new site's folder starts with: commented files that load as they stand.

In: the site's id and title, and the rule set's name. Out: text for each file. Refuses nothing.
"""

from __future__ import annotations

import json
import re
import unicodedata

SITE_FILE = "site.yaml"
SCHEMA_FILE = "site.schema.json"
SERVICES_FILE = "services.csv"
READINGS_NOTE = "readings/README.txt"

_SITE = """\
# yaml-language-server: $schema={schema}
# The first line lets an editor that knows JSON Schema complete and check this file.
# The engines of this site, how its files are read, and which rule set applies. Check it with: intervals log {folder}

site: {site}
title: {title}
time_zone: Etc/UTC            # times without an offset are local to this, for example Europe/Amsterdam
ruleset: {ruleset}           # a name from `intervals rules list`, or the path of a YAML file

engines:
  - id: G1                    # its name in the log and in the service records
    title: First engine
    fuel: natural-gas         # natural-gas, biogas, diesel, heavy-fuel, dual-fuel, or the word your rules use
    duty: continuous          # continuous, prime, standby, or the word your rules use
    rated_kw: 500             # electrical or shaft power at full load
    oil_volume_l: 120         # pan plus extension tank
    in_service: 2026-01-01    # its first day in service
    meter_at_start_h: 0       # what the hour meter read on that day
    # records_from: 2026-01-01          # from this day on the service records are complete; default: in_service
    # meter_changes:                    # the hour meter was replaced: its last reading, and the new one's first
    #   - {{at: "2026-02-03T08:00", old_read_h: 8120.4, new_read_h: 0.0}}
    # laid_up: [{{from: 2026-11-01, to: 2027-03-15}}]
    # attributes: {{extended_pan: true}}  # anything else a rule may ask for
    # severe_duty: {{tasks: [oil-change], interval_times: 0.8, because: "Stone dust from next door."}}

# components:                           # parts that move between engines; rules ask for their kind
#   - {{id: TC-7, kind: turbocharger, hours_at_fitting_h: 4200, fitted: [{{engine: G1, from: 2026-01-01}}]}}

readings:
  files: ["readings/*.csv"]
  timestamp: {{column: Time}}             # a row's levels and amounts are for the time before its stamp; covers: after is the opposite
  engine: {{column: Engine}}              # or {{value: G1}}, or {{from_file_name: "(G\\\\d)"}}
  gap_h: 36                             # hours without a row that make a gap; a log with one row per week needs 200
  quantities:                           # what it is: its column, and its unit
    hour_meter_h: {{column: Hours, unit: h}}
    load_kw: {{column: Power, unit: kW}}
    # starts: {{column: Starts, unit: count}}
    # oil_added_l: {{column: Top-up, unit: L}}
    # fuel_sulphur_pct: {{column: Sulphur, unit: percent, holds_for: P90D}}
  # csv: {{separator: ";", decimal: ","}}

# services:                             # other words in the service records; check prints unknown words as lines to paste here
#   task_names: {{Oil: oil-change, "2,000 h service": [oil-change, spark-plugs]}}
#   outcome_names: {{ok: done}}

# lab: {{new_oil: {{acid_number: 1.5}}}}    # analyses in lab.csv: at, engine, kind, result_at, and a column for each value
# holidays: [2026-12-25]                # no business days
"""
_READINGS_NOTE = """\
Put the operating log here: .csv, .parquet or .xlsx, any number of files.

With site.yaml as it is now, a .csv file looks like this; other columns are ignored:

Time,Engine,Hours,Power
2026-01-02T00:00,G1,22.5,430
2026-01-03T00:00,G1,46.1,455

State other names, units, separators and time formats in site.yaml under `readings`. Then run `intervals log` on the folder above
this one to see what was read.
"""
_SERVICES = "at,engine,task,hour_meter_h,outcome,done_by,note,ref,until_h,until_date,approved_by\n"


def starter_files(*, folder: str, title: str, ruleset: str) -> dict[str, str]:
    """Return what a new site starts with.

    Args:
        folder: the folder as it was typed, to word commands with.
        title: what the folder is called; the site's id is made of it.
        ruleset: name or path of the rule set.

    Returns:
        Text by path below the folder; the schema is not among it.
    """
    site = _SITE.format(
        schema=SCHEMA_FILE,
        folder=" ".join(folder.split()),
        site=_scalar(site_id_of(title)),
        title=_scalar(" ".join(title.split())),
        ruleset=_scalar(ruleset),
    )
    return {SITE_FILE: site, SERVICES_FILE: _SERVICES, READINGS_NOTE: _READINGS_NOTE}


def _scalar(text: str) -> str:
    """Return text as YAML reads it back: in quotes unless it is plainly a word or a path."""
    is_plain = re.fullmatch(r"[A-Za-z./][A-Za-z0-9_./-]*", text) and text.lower() not in {"true", "false", "null", ".inf", ".nan"}
    return text if is_plain else json.dumps(text, ensure_ascii=False)


def site_id_of(title: str) -> str:
    """Return an id made of a title: small letters without their accents, digits and hyphens.

    Example:
        >>> site_id_of("Brackwater Nursery (north)"), site_id_of("Ünï"), site_id_of("...")
        ('brackwater-nursery-north', 'uni', 'my-site')
    """
    plain = "".join(letter for letter in unicodedata.normalize("NFKD", title.casefold()) if not unicodedata.combining(letter))
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-") or "my-site"
