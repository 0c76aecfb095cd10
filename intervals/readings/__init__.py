"""Operating logs, service records and analyses: files of any layout to accepted rows, records, named faults and counts.

In: a site, which says how its files read. Out: `Readings`, `Records` and `Analyses`. Refuses by `ReadingsProblemError` (codes REA, SVC
and LAB, each explained in `READINGS_CODES`) what cannot be read without guessing.
"""

from __future__ import annotations

from intervals.readings.read import read_readings
from intervals.readings.records.lab import Analyses, Analysis, read_lab
from intervals.readings.records.service_file import read_records
from intervals.readings.records.service_records import Records, ServiceRecord
from intervals.readings.refusals import READINGS_CODES
from intervals.readings.rows import BlockRows, Readings

__all__ = [
    "READINGS_CODES", "Analyses", "Analysis", "BlockRows", "Readings", "Records", "ServiceRecord", "read_lab", "read_readings",
    "read_records",
]  # fmt: skip
