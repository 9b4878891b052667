"""Moving, turning, reordering and re-uniting a whole job changes no verdict."""

import math
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.support.jobs import JobFolder, results, rows, verdicts

pytestmark = pytest.mark.property

MM = 0.001
# Offsets in whole millimetres, kept off the limits (30 mm plan, 20 mm height, 80 % of both) so
# that a change of unit in the last binary digit cannot tip a verdict.
offsets = st.integers(-60, 60).map(lambda mm: (mm + 0.4) * MM)


@st.composite
def jobs(draw: st.DrawFn) -> JobFolder:
    count = draw(st.integers(2, 8))
    design = []
    shots = []
    for index in range(count):
        n, e, z = 5000.0 + 7.0 * index, 3000.0 + (index % 3) * 11.0, 100.0 + 0.1 * index
        design.append((f"P{index}", n, e, z))
        if draw(st.booleans()) or index == 0:
            dn, de, dz = draw(offsets), draw(offsets), draw(offsets)
            shots.append((f"P{index}", n + dn, e + de, z + dz))
    control = [("CP1", 4990.0, 2990.0, 99.0)]
    shots.append(("CP1", 4990.0 + 0.004, 2990.0 - 0.003, 99.0 + draw(offsets)))
    guarded = draw(st.booleans())
    return JobFolder(
        design=design,
        shots=shots,
        control=control,
        sigma_h=0.0051 if guarded else 0.0,
        sigma_z=0.0071 if guarded else 0.0,
        tolerance='horizontal = "30 mm"\nvertical = "20 mm"\n'
        + ('rule = "guarded"\n' if guarded else ""),
    )


quick = settings(
    max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@quick
@given(job=jobs(), unit=st.sampled_from(["foot", "us-survey-foot"]))
def test_units_change_no_verdict(job: JobFolder, unit: str, tmp_path: Path) -> None:
    metric = verdicts(results(job.write(tmp_path / "m")))
    job.unit = unit
    assert verdicts(results(job.write(tmp_path / unit))) == metric


@quick
@given(
    job=jobs(),
    north=st.floats(-1e5, 1e5),
    east=st.floats(-1e5, 1e5),
    turn=st.floats(0.0, 2 * math.pi),
)
def test_moving_and_turning_changes_no_verdict(
    job: JobFolder, north: float, east: float, turn: float, tmp_path: Path
) -> None:
    still = results(job.write(tmp_path / "still"))
    cos, sin = math.cos(turn), math.sin(turn)
    job.transform = lambda n, e: (north + n * cos - e * sin, east + n * sin + e * cos)
    moved = results(job.write(tmp_path / "moved"))
    assert verdicts(moved) == verdicts(still)
    for name, row in rows(still).items():
        if row["horizontal"] is not None:
            assert rows(moved)[name]["horizontal"] == pytest.approx(row["horizontal"], abs=1e-8)


@quick
@given(job=jobs(), data=st.data())
def test_order_changes_no_verdict(job: JobFolder, data: st.DataObject, tmp_path: Path) -> None:
    before = results(job.write(tmp_path / "a"))
    job.design = data.draw(st.permutations(job.design))
    job.shots = data.draw(st.permutations(job.shots))
    after = results(job.write(tmp_path / "b"))
    assert after["verdict"] == before["verdict"]
    assert after["counts"] == before["counts"]
    assert {k: r["verdict"] for k, r in rows(after).items()} == {
        k: r["verdict"] for k, r in rows(before).items()
    }
