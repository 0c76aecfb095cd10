"""Oil in a sump that is topped up: a well-stirred tank, worked, and held against `scipy.integrate.solve_ivp`.

M kg of oil, R kg/h used and topped up, G g/h of contaminant, D g KOH/h of base used up, B0 mg KOH/g of new oil. What the tank holds
after so many hours stands in lab.csv as a laboratory would give it; `intervals check` says whether the oil may stay.
"""

from __future__ import annotations

from collections.abc import Callable
from math import exp, inf, log
from pathlib import Path

import pytest
from scipy.integrate import solve_ivp

from tests.published.shipped_sites import run_check
from tests.site_maker import finding_for, meter, rules_fired, task, write_site

# M, R, G of M1; D, B0 and the limits of the contaminant and of the base number
M, R, G = 176.0, 0.3, 3.0
LIMIT, BASE_LIMIT, B0 = 5.0, 5.0, 10.0


def contaminant(hours: float, mass: float = M, used: float = R) -> float:
    """Return g/kg after so many hours, with clean make-up; without consumption G t / M."""
    return G * hours / mass if used == 0 else G / used * (1 - exp(-used * hours / mass))


def without_make_up(hours: float) -> float:
    """Return g/kg where what is used is not topped up."""
    return G / R * log(M / (M - R * hours))


def hours_to_base_limit(used: float, base_used: float) -> float:
    """Return the hours until the base number is at its limit; infinite where make-up keeps it above."""
    if used == 0:
        return M * (B0 - BASE_LIMIT) / base_used
    settled = B0 - base_used / used
    return inf if settled >= BASE_LIMIT else -M / used * log((BASE_LIMIT - settled) / (B0 - settled))


@pytest.mark.outside("7.1", "7.2", "7.3", "7.M1", "7.M2", "9.4")
@pytest.mark.parametrize(
    ("hours", "expected", "formula", "slope"),
    [
        *(
            (hours, value, contaminant, lambda c: (G - R * c) / M)
            for hours, value in ((100, 1.5672), (250, 3.4697), (500, 5.7356), (1000, 8.1814))
        ),
        (250, 4.2614, lambda hours: contaminant(hours, M, 0), lambda _: G / M),
    ],
)
def test_the_closed_form_is_what_the_equation_gives(
    hours: float, expected: float, formula: Callable[[float], float], slope: Callable[[float], float]
) -> None:
    """M1 and M2, with and without consumption: dC/dt = (G - R C) / M."""
    solved = solve_ivp(lambda _, c: [slope(c[0])], (0, hours), [0.0], rtol=1e-10, atol=1e-12).y[0][-1]
    assert round(formula(hours), 4) == expected
    assert formula(hours) == pytest.approx(solved, abs=1e-7)


@pytest.mark.outside("7.3")
def test_oil_that_is_not_topped_up_thickens_with_dirt() -> None:
    """dC/dt = G/m + ... with m = M - R t: consumption takes clean oil along with dirt, C = (G/R) ln(M / (M - R t))."""
    solved = solve_ivp(lambda t, _: [G / (M - R * t)], (0, 250), [0.0], rtol=1e-10, atol=1e-12).y[0][-1]
    assert without_make_up(250) == pytest.approx(solved, abs=1e-7)


@pytest.mark.outside("7.4", "7.M7")
def test_base_number_with_and_without_top_up() -> None:
    """M7: 1,000 kW, 210 g/kWh, 0.10 % sulphur, 0.2 % of the acid into the oil: D 1.470; 598.6 h without top-up, with it never."""
    base_used = 1000 * 210 * 0.001 * 3.5 * 0.002
    assert base_used == pytest.approx(1.470, abs=5e-4)
    assert hours_to_base_limit(0, base_used) == pytest.approx(598.6, abs=0.05)
    assert B0 - base_used / R == pytest.approx(5.10, abs=1e-9)
    assert hours_to_base_limit(R, base_used) == inf


def standing_after(folder: Path, hours: float, **values: float) -> str:
    """Return what a check says of the oil that was sampled after so many hours, of 2,000 that its interval has."""
    analysis = {"by": "oil-analysis", "within": {"contaminant": {"at_most": LIMIT}, "base_number": {"at_least": BASE_LIMIT}}}
    oil = task("oil", every={"running_hours": 2000}, in_place_of_time={**analysis, "act_within_business_days": 2})
    engine = {"in_service": "2026-01-01", "meter_at_start_h": 0}
    rows = [meter("2026-01-01T00:00", 0), meter("2026-03-01T00:00", hours), meter("2026-03-02T00:00", hours)]
    write_site(folder, [oil], rows, engine=engine)
    sample = {"contaminant": 0.0, "base_number": B0, **values}
    header, row = ",".join(sample), ",".join(f"{value:.9f}" for value in sample.values())
    text = f"at,engine,kind,result_at,{header}\n2026-03-01T00:00,G1,oil-analysis,2026-03-01T12:00,{row}\n"
    (folder / "lab.csv").write_text(text, encoding="utf-8")
    (fired,) = set(rules_fired(finding_for(run_check(folder, "2026-03-01")))) & {"analysis-within", "analysis-beyond"}
    return fired


@pytest.mark.outside("7.M4", "7.M6")
@pytest.mark.parametrize(
    ("mass", "used", "limit_h"),
    # M4: 406.6 h with top-up, 293.3 h without consumption; M6: the hours grow with the volume
    [(176, 0.3, 406.6), (176, 0, 293.3), (88, 0, 146.7), (352, 0, 586.7)],
)
def test_a_laboratory_finds_the_limit_when_the_tank_has_reached_it(tmp_path: Path, mass: float, used: float, limit_h: float) -> None:
    """A tenth of an hour before the limit of 5 g/kg the oil stays, a tenth after it it goes."""
    for hours, fired in ((limit_h - 0.1, "analysis-within"), (limit_h + 0.1, "analysis-beyond")):
        assert standing_after(tmp_path / fired, hours, contaminant=contaminant(hours, mass, used)) == fired


@pytest.mark.outside("7.M7")
@pytest.mark.parametrize(("hours", "fired"), [(598.5, "analysis-within"), (598.7, "analysis-beyond")])
def test_a_laboratory_finds_the_base_used_up(tmp_path: Path, hours: float, fired: str) -> None:
    """M7 without top-up: B = B0 - D t / M."""
    assert standing_after(tmp_path, hours, base_number=B0 - 1.470 * hours / M) == fired


@pytest.mark.outside("2.8")
def test_what_sulphur_burns_to() -> None:
    """1 g of sulphur takes 3.500 g KOH (two moles of 56.106 g for 32.06 g); 1 % of it is 35.0 mg KOH per g of fuel."""
    potash_per_sulphur = 2 * 56.106 / 32.06
    assert potash_per_sulphur == pytest.approx(3.500, abs=5e-4)
    assert 10 * potash_per_sulphur == pytest.approx(35.0, abs=5e-3)
