"""Slabs, pads and ramps."""

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from checker.checks.planes import measure_plane
from checker.errors import InputError
from checker.model.job import Plane, Selection
from checker.model.measure import Measure
from tests.support.points import HERE, Shot, inputs, job, points, tolerance
from tests.support.shapes import by_id, only_check, table, write_job

EAST = math.radians(90.0)


def pad(fall_east: float = 0.0, fall_south: float = 0.0, **bumps: float) -> list[Shot]:
    """Return nine shots of a plane, five of them moved up as asked: p0 to p8, 5 m apart."""
    found = []
    for row in range(3):
        for place in range(3):
            name = f"p{3 * row + place}"
            n, e = 5.0 * row, 5.0 * place
            z = 20.0 - fall_east * e + fall_south * n + bumps.get(name, 0.0)
            found.append((name, n, e, z))
    return found


def measured(
    shots: list[Shot],
    *,
    design_shots: list[Shot] | None = None,
    sigma: tuple[float, float, float] | None = None,
    exclude: tuple[tuple[str, str], ...] = (),
    **section: Any,
) -> Measure:
    asked = Plane(
        where=HERE,
        name="pad",
        tolerance=tolerance(vertical=0.01, slope=0.002),
        measured=Selection(),
        **section,
    )
    data = inputs(
        design=points(design_shots) if design_shots else None,
        measured=points(shots, sigma=sigma),
    )
    return measure_plane(asked, data, job(asked, exclude=exclude))


def value(measure: Measure, key: str, name: str) -> float:
    row = measure.id.tolist().index(name)
    return float(measure.column(key).values[row])


def items(measure: Measure) -> dict[str, Any]:
    return {item.key: item.value for item in measure.summary}


def test_slope_and_crossfall_are_falls() -> None:
    found = measured(pad(0.02, 0.005), slope=0.02, direction_rad=EAST)
    assert value(found, "slope_measured", "slope") == pytest.approx(0.02, abs=1e-12)
    # To the right of east is south, where it falls by half a percent.
    assert value(found, "slope_measured", "crossfall") == pytest.approx(0.005, abs=1e-12)
    assert value(found, "slope_design", "crossfall") == 0.0
    assert value(found, "d_slope", "slope") == pytest.approx(0.0, abs=1e-12)
    summary = items(found)
    assert summary["steepest_percent"] == pytest.approx(math.hypot(0.02, 0.005), abs=1e-12)
    assert summary["fall_azimuth"] == pytest.approx(EAST + math.atan2(0.005, 0.02), abs=1e-9)


def test_against_the_direction_the_slope_is_negative() -> None:
    found = measured(pad(0.02), slope=0.02, direction_rad=math.radians(270.0))
    assert value(found, "slope_measured", "slope") == pytest.approx(-0.02, abs=1e-12)
    assert value(found, "d_slope", "slope") == pytest.approx(-0.04, abs=1e-12)


def test_without_a_direction_the_steepest_counts() -> None:
    found = measured(pad(0.03, 0.04), slope=0.05)
    assert found.id.tolist()[-1] == "slope"
    assert value(found, "slope_measured", "slope") == pytest.approx(0.05, abs=1e-12)
    assert value(found, "d_slope", "slope") == pytest.approx(0.0, abs=1e-12)


def test_a_bump_stands_off_the_plane_of_the_others() -> None:
    found = measured(pad(0.02, p4=0.03))
    assert value(found, "residual", "p4") == pytest.approx(0.03 * 8 / 9, abs=1e-12)
    assert value(found, "left_out", "p4") == pytest.approx(0.03, abs=1e-12)
    assert value(found, "residual", "p0") == pytest.approx(-0.03 / 9, abs=1e-12)
    assert any("p4 stands 30 mm above the plane of all the others" in t for t in found.remarks)


def test_design_points_give_slope_direction_and_height() -> None:
    design = [("D1", 0.0, 0.0, 19.9), ("D2", 0.0, 10.0, 19.7), ("D3", 10.0, 0.0, 19.9)]
    found = measured(pad(0.02, 0.001), design=Selection(), design_shots=design)
    assert value(found, "slope_design", "slope") == pytest.approx(0.02, abs=1e-12)
    assert value(found, "slope_measured", "slope") == pytest.approx(0.02, abs=1e-12)
    assert value(found, "slope_measured", "crossfall") == pytest.approx(0.001, abs=1e-12)
    assert items(found)["mean_z"] == pytest.approx(0.105, abs=1e-12)


def test_a_warped_design_is_said() -> None:
    design = [("a", 0, 0, 0.0), ("b", 0, 10, 0.0), ("c", 10, 10, 0.2), ("d", 10, 0, 0.0)]
    found = measured(pad(), design=Selection(), design_shots=design)  # type: ignore[arg-type]
    assert any("The design's own points lie up to 50 mm off" in text for text in found.remarks)


def test_sigma_of_a_slope_follows_from_the_heights() -> None:
    """Nine shots at 0, 5, 10 along: sum of squares about the middle is 6 x 25."""
    found = measured(pad(), slope=0.0, direction_rad=EAST, sigma=(0.01, 0.01, 0.03))
    assert value(found, "sigma_slope", "slope") == pytest.approx(0.03 / 150**0.5, rel=1e-12)


def test_three_shots_are_always_flat_and_so_undecided() -> None:
    found = measured(pad(0.02)[:2] + pad(0.02)[3:4], slope=0.02, direction_rad=EAST)
    flat = found.comparisons[0]
    assert np.isnan(flat.value[:3]).all()
    assert flat.absent is not None
    assert flat.absent[0] == "three shots always lie in one plane"
    assert value(found, "slope_measured", "slope") == pytest.approx(0.02)


@pytest.mark.parametrize("shots", [pad()[:2], pad()[:3], []])
def test_too_few_or_in_a_line_is_undecided(shots: list[Shot]) -> None:
    everything = [*shots, ("x", 50.0, 50.0, np.nan)]
    found = measured(everything)
    assert found.undecided.tolist()[-1].startswith("no plane")
    assert np.isnan(value(found, "slope_measured", "slope"))


def test_excluded_and_earlier_shots_take_no_part() -> None:
    shots = [("p4", 5.0, 5.0, 25.0), *pad(0.02, p8=9.0)]
    found = measured(shots, exclude=(("p8", "on the form"),))
    assert found.counted.tolist()[0] is False
    assert items(found)["points"] == 8
    assert abs(value(found, "residual", "p0")) < 1e-9
    assert found.unchecked.tolist()[9] == "excluded: on the form"


def test_a_row_of_shots_is_not_compared_as_a_slope() -> None:
    found = measured(pad(0.02), slope=0.02, direction_rad=EAST)
    flat, change, grade, cross = found.comparisons
    for comparison, rows in ((flat, 9), (change, 2), (grade, 1), (cross, 1)):
        assert comparison.applies is not None
        assert int(comparison.applies.sum()) == rows


def test_a_design_in_a_line_is_no_plane() -> None:
    design = [("a", 0.0, 0.0, 0.0), ("b", 0.0, 1.0, 0.0), ("c", 0.0, 2.0, 0.0)]
    with pytest.raises(InputError) as caught:
        measured(pad(), design=Selection(), design_shots=design)
    assert [problem.slug for problem in caught.value.problems] == ["no-plane"]


def test_too_many_shots_for_one_plane() -> None:
    many = [(f"q{i}", float(i % 50), float(i // 50), 1.0) for i in range(2001)]
    with pytest.raises(InputError) as caught:
        measured(many)
    assert [problem.slug for problem in caught.value.problems] == ["group-too-large"]


# ---------------------------------------------------------------- through the files


@pytest.mark.parametrize(
    ("limits", "verdict", "says"),
    [
        ('slope = "2 %"\ndirection = "N 90 E"\ntolerance = { slope = "0.1 %" }', "within", ""),
        (
            'slope = "2.5 %"\ndirection = 90\ntolerance = { slope = "0.1 %" }',
            "outside",
            "difference of slope 0.50 %, limit 0.10 %",
        ),
        (
            'direction = 90\nmaximum_grade = "1:60"\nmaximum_crossfall = "0.5 %"',
            "outside",
            "slope 2.00 %, over 1.67 %",
        ),
        ('direction = 90\nminimum_grade = "1.5 %"\nmaximum_crossfall = "0.5 %"', "within", ""),
        (
            'direction = 180\nmaximum_crossfall = "1 %"\nminimum_grade = "0.5 %"',
            "outside",
            "slope 0.00 %, short of 0.50 %",
        ),
        (
            'direction = 180\nmaximum_crossfall = "1 %"',
            "outside",
            "crossfall 2.00 %, over 1.00 %",
        ),
        (
            'direction = 270\nminimum_grade = "0.5 %"',
            "outside",
            "slope falls backwards: -2.00 %, short of 0.50 %",
        ),
        ('tolerance = { vertical = "5 mm" }', "within", ""),
    ],
)
def test_limits_of_a_slab(tmp_path: Path, limits: str, verdict: str, says: str) -> None:
    folder = write_job(tmp_path, f'[[plane]]\nname = "slab"\n{limits}\n', m_csv=table(pad(0.02)))
    found = only_check(folder)
    assert found["verdict"] == verdict, found["reason"]
    assert says in found["reason"]


def test_flatness_by_row_with_the_word_for_its_side(tmp_path: Path) -> None:
    folder = write_job(
        tmp_path,
        '[[plane]]\nname = "slab"\ntolerance = { above = "5 mm", below = "12 mm" }\n',
        m_csv=table(pad(0.02, p4=0.009, p2=-0.013)),
    )
    rows = by_id(only_check(folder))
    assert rows["p4"]["verdict"] == "outside"
    assert "off the plane" in rows["p4"]["reason"]
    assert "high" in rows["p4"]["reason"]
    assert rows["p2"]["verdict"] == "within"
