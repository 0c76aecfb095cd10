"""Rules that nobody asks any more give back what they took outside Python."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

SCRIPT = """
from intervals.rulebook.inference import RuleBase
from intervals.language.conditions import Comparison

RULES = {f"above-{bound}": Comparison("load_pct", ">", bound) for bound in range(30)}

def ask(times):
    for number in range(times):
        # fired by every rule, by some, by none; never asked
        for only_first in (False, True):
            for load in (99, 15.5, -1, None):
                RuleBase("duty", RULES, only_first).fire({"load_pct": load})
            RuleBase("duty", RULES, only_first)

def pages_held():
    with open("/proc/self/statm") as told:
        return int(told.read().split()[1])

ask(2)
first = pages_held()
ask(20)
print(first, pages_held())
"""


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="says what memory it holds on Linux only")
def test_rules_that_are_let_go_leave_nothing() -> None:
    """After 200 more rule bases the process holds less than double (kept they make it six times as large); no memory is blank at first."""
    filled = {**os.environ, "MALLOC_PERTURB_": "165"}
    done = subprocess.run([sys.executable, "-c", SCRIPT], env=filled, capture_output=True, text=True, check=True)
    first, last = map(int, done.stdout.split())
    assert last < 2 * first
