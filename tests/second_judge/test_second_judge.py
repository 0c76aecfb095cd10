"""The program and a second judge, written from the handbook alone, say the same of random sites."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.second_judge.compare import try_site

SITES_EACH = 25


@pytest.mark.parametrize("block", range(6))
def test_the_second_judge_agrees_on_random_sites(tmp_path: Path, block: int) -> None:
    """Standing, used, allowed, fired rules, due day, skipped work and the month's occurrences are the same on every site of a block."""
    fields = 0
    for seed in range(1000 * block, 1000 * block + SITES_EACH):
        folder = tmp_path / f"site-{seed}"
        trial = try_site(folder, seed)
        fields += trial.fields
        assert not trial.differences, (
            f"site {seed} ({trial.layout}, as of {trial.as_of}, month {trial.month}), kept in {folder}: {trial.differences[0]}"
        )
    assert fields > SITES_EACH
