"""The field test of the rover."""

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from checker.checks.rover_test import measure_rover_test
from checker.errors import InputError
from checker.model.finding import Finding, Verdict
from checker.model.job import RoverTest, Selection
from checker.model.measure import Measure
from checker.units import LengthUnit
from checker.verdicts.judge import judge
from tests.support.points import HERE, Shot, inputs, job, points, texts
from tests.support.shapes import only_check, write_job

PLACES = {"R1": (1000.0, 2000.0, 50.0), "R2": (1012.0, 2009.0, 50.5)}


def shots_of(
    series: int = 3, sets: int = 5, sigma: float = 0.01, seed: int = 4
) -> tuple[list[Shot], list[str], list[str]]:
    """Return shots with their sessions and times: sets 5 min, series 90 min apart."""
    rng = np.random.default_rng(seed)
    rows: list[Shot] = []
    sessions, times = [], []
    for k in range(series):
        for m in range(sets):
            for name, place in PLACES.items():
                n, e, z = (each + rng.normal(0.0, sigma) for each in place)
                rows.append((name, n, e, z))
                sessions.append(f"s{k + 1}")
                minutes = 90 * k + 5 * m
                times.append(f"2031-04-15T{8 + minutes // 60:02d}:{minutes % 60:02d}")
    return rows, sessions, times


def run(
    rows: list[Shot], sessions: list[str] | None, times: list[str] | None, **keys: Any
) -> Measure:
    fields: dict[str, Any] = {"points": ("R1", "R2"), "measured": Selection(), **keys}
    section = RoverTest(where=HERE, name="rover", **fields)
    quality: dict[str, Any] = {} if sessions is None else {"session": texts(sessions)}
    return measure_rover_test(
        section, inputs(measured=points(rows, time=times, **quality)), job(section)
    )


def summary(measure: Measure) -> dict[str, Any]:
    return {item.key: item.value for item in measure.summary}


def judged(measure: Measure) -> Finding:
    return judge(measure, texts([""] * 60), LengthUnit.METRE)


def test_deviations_against_plain_numpy() -> None:
    rows, sessions, times = shots_of()
    found = summary(run(rows, sessions, times))
    n = np.array([row[1] for row in rows]).reshape(15, 2)
    e = np.array([row[2] for row in rows]).reshape(15, 2)
    z = np.array([row[3] for row in rows]).reshape(15, 2)
    s_n, s_e, s_z = (
        math.sqrt(sum(float(v[:, k].var()) * 15 for k in (0, 1)) / 28) for v in (n, e, z)
    )
    assert found["degrees_of_freedom"] == 28  # 30 shots of a coordinate, 2 unknowns
    assert found["s_n"] == pytest.approx(s_n, rel=1e-9)
    assert found["s_plan"] == pytest.approx(math.hypot(s_n, s_e), rel=1e-9)
    assert found["s_height"] == pytest.approx(s_z, rel=1e-9)
    assert (found["series"], found["sets"]) == (3, 15)


def test_the_claim_is_tested_by_chi_square() -> None:
    rows, sessions, times = shots_of()
    good = run(rows, sessions, times, sigma_plan_m=0.0142, sigma_height_m=0.010)
    finding = judged(good)
    assert finding.verdict is Verdict.WITHIN
    assert good.tolerance is not None
    assert good.tolerance.horizontal is not None
    # 1.15 and 1.22 of the standard's full test, from memory, recomputed
    assert good.tolerance.horizontal.constant / 0.0142 == pytest.approx(1.15, abs=0.005)
    assert good.tolerance.vertical is not None
    assert good.tolerance.vertical.constant / 0.010 == pytest.approx(1.22, abs=0.0051)
    bad = judged(run(rows, sessions, times, sigma_plan_m=0.008, sigma_height_m=0.010))
    assert bad.verdict is Verdict.OUTSIDE
    assert bad.reason.startswith("standard deviation in plan")


def test_without_a_claim_nothing_is_judged() -> None:
    finding = judged(run(*shots_of()))
    assert finding.verdict is Verdict.UNCHECKED


def test_a_gross_error_spoils_the_test() -> None:
    rows, sessions, times = shots_of()
    name, n, e, z = rows[5]
    rows[5] = (name, n + 0.2, e, z)
    measure = run(rows, sessions, times, sigma_plan_m=0.0142, distance_m=15.0)
    finding = judged(measure)
    assert finding.verdict is Verdict.OUTSIDE or "gross error" in finding.reason
    assert any(text.startswith("gross error: set s1/3, distance") for text in measure.remarks)
    clean = run(*shots_of(), sigma_plan_m=0.0142, distance_m=15.0, rise_m=0.5, sigma_height_m=0.01)
    assert not any("gross error" in text for text in clean.remarks)
    np.testing.assert_allclose(clean.column("d_distance").values.tolist(), 0.0, atol=0.06)


def test_the_nominal_distance_is_on_ground(tmp_path: Path) -> None:
    """15 m of tape are 14.985 m of grid where the factor is 0.999; that is no gross error."""
    factor = 0.999
    rows, sessions, times = shots_of(sigma=0.0001)
    cells = [
        f"{name},{n * factor!r},{e * factor!r},{z!r},{session},{time}"
        for (name, n, e, z), session, time in zip(rows, sessions, times, strict=True)
    ]
    section = (
        f"[reference]\nground = {{ combined_factor = {factor}, origin = {{ n = 0, e = 0 }} }}\n"
        '[[rover_test]]\nname = "rover"\npoints = ["R1", "R2"]\ndistance = 15.0\n'
        'sigma_plan = "1 mm"\n'
    )
    head = "id,northing,easting,elevation,session,time"
    found = only_check(write_job(tmp_path, section, m_csv="\n".join([head, *cells, ""])))
    assert max(abs(row["d_distance"]) for row in found["rows"]) < 0.001
    assert not any("gross error" in text for text in found["remarks"])


def test_few_sets_prove_nothing() -> None:
    finding = judged(run(*shots_of(series=1, sets=4), sigma_plan_m=0.05))
    assert finding.verdict is Verdict.UNDECIDED
    assert finding.reason == "series s1 has 4 sets, 5 are asked for"


def test_series_and_times_are_looked_at() -> None:
    rows, sessions, times = shots_of(series=2)
    measure = run(rows, sessions, ["2031-04-15T08:00"] * len(rows))
    assert any("simplified test" in text for text in measure.remarks)
    assert any("0 min apart" in text for text in measure.remarks)
    silent = run(rows, None, None)
    assert any("show no time" in text for text in silent.remarks)
    full = run(*shots_of())
    assert not any("simplified" in text or "min apart" in text for text in full.remarks)
    assert times


def test_against_an_earlier_test() -> None:
    rows, sessions, times = shots_of()
    measure = run(rows, sessions, times, earlier_plan_m=0.0142, earlier_height_m=0.002)
    assert any("In plan the earlier test" in t and "no difference" in t for t in measure.remarks)
    assert any("In height the earlier" in t and "the two differ" in t for t in measure.remarks)
    # two-sided F at 95 %, 56 and 56 degrees of freedom: 1.70, from memory, recomputed
    assert summary(measure)["f_plan"] == "1.70"


def test_faults() -> None:
    rows, sessions, times = shots_of()
    with pytest.raises(InputError, match='rover point "R3" has no shot'):
        run(rows, sessions, times, points=("R1", "R3"))
    with pytest.raises(InputError, match="has 5 shots of R1 and 4 of R2"):
        run(rows[:-1], sessions[:-1], times[:-1])


def test_monte_carlo_the_test_rejects_five_in_a_hundred() -> None:
    """With the true deviation stated, a right rover fails in 5 % of tests; binomial bounds."""
    failed, trials = 0, 400
    for seed in range(trials):
        measure = run(*shots_of(seed=seed), sigma_plan_m=0.01 * math.sqrt(2.0))
        failed += judged(measure).verdict is Verdict.OUTSIDE
    spread = math.sqrt(0.05 * 0.95 / trials)
    assert abs(failed / trials - 0.05) < 4.0 * spread
