"""Curb returns: offsets from an arc, its fitted radius, and how the arc is stated."""

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checker.geometry.arrays import GeometryError
from checker.geometry.fit import fit_circle
from checker.geometry.returns import kink_rad, radius_covariance, rounded_corner
from tests.support.shapes import by_id, only_check, problems_of, write_job

R = 8.0
# Run northward, then turning right to run eastward: PI at (n 100, e 200), T = R.
CENTRE = (92.0, 208.0)
TANGENTS = (
    "tangents = [{ n = 60, e = 200 }, { n = 95, e = 200 }, "
    '{ n = 100, e = 205 }, { n = 100, e = 260 }], radius = "8 m"'
)
TOL = 'tolerance = { horizontal = "20 mm", radius = "50 mm", vertical = "20 mm" }\n'
LEVELS = "elevations = [10.0, 10.1, 10.4]\n"


def on_arc(share: float, radius: float = R, dz: float = 0.0) -> tuple[float, float, float]:
    """Return a place on a quarter circle that begins west of its centre and runs clockwise."""
    angle = math.radians(270.0 + 90.0 * share)
    level = float(np.interp(share, (0.0, 0.5, 1.0), (10.0, 10.1, 10.4))) + dz
    return CENTRE[0] + radius * math.cos(angle), CENTRE[1] + radius * math.sin(angle), level


def table(rows: Mapping[str, tuple[float, ...]], head: str = "point,n,e,z") -> str:
    return "\n".join(
        [head, *(f"{k},{','.join(f'{v:.6f}' for v in row)}" for k, row in rows.items()), ""]
    )


def section(design: str = TANGENTS, *, tol: str = TOL, more: str = LEVELS) -> str:
    return f'[[curb_return]]\nname = "NE return"\ndesign = {{ {design} }}\n{tol}{more}'


FIVE = {f"S{i}": on_arc(share) for i, share in enumerate((0.0, 0.25, 0.5, 0.75, 1.0))}


def summary(found: dict[str, Any]) -> dict[str, Any]:
    values: dict[str, Any] = found["summary"]
    return values


def test_a_return_as_designed_is_within(tmp_path: Path) -> None:
    found = only_check(write_job(tmp_path, section(), m_csv=table(FIVE)))
    assert found["kind"] == "curb_return"
    assert found["verdict"] == "within"
    rows = by_id(found)
    assert [rows[f"S{i}"]["part"] for i in range(5)] == ["beginning", "", "middle", "", "end"]
    for number, share in enumerate((0.0, 0.25, 0.5, 0.75, 1.0)):
        row = rows[f"S{number}"]
        assert row["along_arc"] == pytest.approx(share * R * math.pi / 2.0, abs=1e-5)
        assert row["offset"] == pytest.approx(0.0, abs=1e-6)
        assert row["dz"] == pytest.approx(0.0, abs=1e-5)
    whole = rows["whole arc"]
    assert whole["radius"] == pytest.approx(R, abs=1e-5)
    assert whole["verdict"] == "within"
    values = summary(found)
    # The elements of a simple curve of 90 degrees: T = R, L = R pi / 2, C = R sqrt 2.
    assert values["tangent"] == pytest.approx(R)
    assert values["length"] == pytest.approx(R * math.pi / 2.0)
    assert values["chord"] == pytest.approx(R * math.sqrt(2.0))
    assert values["ordinate"] == pytest.approx(R * (1.0 - math.sqrt(0.5)))
    assert values["turn"] == pytest.approx(90.0)
    assert values["kink_begin"] == pytest.approx(0.0, abs=1e-4)
    assert values["centre_off"] == pytest.approx(0.0, abs=1e-5)


def test_offsets_are_right_of_the_way_it_is_run_and_the_radius_is_what_was_built(
    tmp_path: Path,
) -> None:
    shots = {f"S{i}": on_arc(i / 4.0, R - 0.06) for i in range(5)}
    found = only_check(write_job(tmp_path, section(), m_csv=table(shots)))
    rows = by_id(found)
    # Nearer to the centre, which lies to the right.
    assert rows["S2"]["offset"] == pytest.approx(0.06, abs=1e-6)
    assert rows["S2"]["across"] == pytest.approx(0.06, abs=1e-6)
    assert rows["S2"]["verdict"] == "outside"
    whole = rows["whole arc"]
    assert whole["d_radius"] == pytest.approx(-0.06, abs=1e-5)
    assert whole["verdict"] == "outside"
    assert "radius 60 mm, limit 50 mm" in whole["reason"]
    back = only_check(
        write_job(tmp_path / "back", section(more="reversed = true\n"), m_csv=table(shots))
    )
    assert by_id(back)["S2"]["offset"] == pytest.approx(-0.06, abs=1e-6)
    assert by_id(back)["S0"]["part"] == "end"


def test_a_radius_that_is_right_in_a_wrong_place(tmp_path: Path) -> None:
    moved = {name: (n + 0.03, e - 0.04, z) for name, (n, e, z) in FIVE.items()}
    found = only_check(write_job(tmp_path, section(), m_csv=table(moved)))
    values = summary(found)
    assert values["centre_dn"] == pytest.approx(0.03, abs=1e-5)
    assert values["centre_de"] == pytest.approx(-0.04, abs=1e-5)
    assert values["centre_off"] == pytest.approx(0.05, abs=1e-5)
    assert by_id(found)["whole arc"]["verdict"] == "within"
    # West of its design the circle passes outside the beginning, and turned by 0.03 / 8.04 there.
    assert values["gap_begin"] == pytest.approx(0.04, abs=2e-4)
    assert abs(values["kink_begin"]) == pytest.approx(math.degrees(0.03 / R), rel=0.02)


def test_heights_are_compared_along_the_arc_only(tmp_path: Path) -> None:
    shots = {**FIVE, "S2": on_arc(0.5, dz=0.05), "LINE": (90.0 - 4.0, 200.01, 9.0)}
    found = only_check(write_job(tmp_path, section(), m_csv=table(shots)))
    rows = by_id(found)
    assert rows["S2"]["dz"] == pytest.approx(0.05, abs=1e-5)
    assert rows["S2"]["verdict"] == "outside"
    assert rows["LINE"]["verdict"] == "within"  # on the line that leads in, 10 mm right of it
    assert rows["LINE"]["offset"] == pytest.approx(0.01, abs=1e-6)
    assert rows["LINE"]["along_arc"] == pytest.approx(-6.0, abs=1e-6)
    assert rows["LINE"]["dz"] is None
    assert summary(found)["shots_on_arc"] == 5


def test_a_shot_a_little_before_the_beginning_has_the_height_of_the_beginning(
    tmp_path: Path,
) -> None:
    shots = {**FIVE, "S0": (CENTRE[0] - 0.015, 200.0, 10.03)}
    row = by_id(only_check(write_job(tmp_path, section(), m_csv=table(shots))))["S0"]
    assert row["along_arc"] == pytest.approx(-0.015, abs=1e-6)
    assert row["dz"] == pytest.approx(0.03, abs=1e-6)
    assert row["verdict"] == "outside"


def test_a_place_without_a_shot_is_unchecked(tmp_path: Path) -> None:
    some = {name: FIVE[name] for name in ("S0", "S1", "S2")}
    found = only_check(write_job(tmp_path, section(), m_csv=table(some)))
    row = by_id(found)["end"]
    assert row["verdict"] == "unchecked"
    assert row["reason"] == "no shot near the end of the arc"
    assert found["verdict"] == "unchecked"
    loose = only_check(
        write_job(tmp_path / "b", section(more=LEVELS + "complete = false\n"), m_csv=table(some))
    )
    assert loose["verdict"] == "within"


def test_two_shots_make_no_radius(tmp_path: Path) -> None:
    two = {name: FIVE[name] for name in ("S0", "S4")}
    row = by_id(only_check(write_job(tmp_path, section(), m_csv=table(two))))["whole arc"]
    assert row["verdict"] == "undecided"
    assert "2 shots lie on the arc: a radius needs three" in row["reason"]


def test_an_arc_too_short_to_say_its_radius(tmp_path: Path) -> None:
    near = {f"S{i}": on_arc(0.45 + 0.05 * i) for i in range(3)}
    found = only_check(write_job(tmp_path, section(), m_csv=table(near)))
    row = by_id(found)["whole arc"]
    assert row["verdict"] == "undecided"
    assert "too short an arc to say its radius" in row["reason"]
    assert any("with a middle ordinate of" in text for text in found["remarks"])


def test_without_a_limit_the_radius_is_shown_and_not_judged(tmp_path: Path) -> None:
    tol = 'tolerance = { across = "20 mm" }\n'
    found = only_check(write_job(tmp_path, section(tol=tol, more=""), m_csv=table(FIVE)))
    assert found["verdict"] == "within"
    row = by_id(found)["whole arc"]
    assert row["radius"] == pytest.approx(R, abs=1e-5)
    assert row["verdict"] == "unchecked"


def test_a_guard_takes_the_sigma_of_the_radius(tmp_path: Path) -> None:
    shots = {name: (*row, 0.01, 0.01) for name, row in FIVE.items()}
    tol = 'tolerance = { radius = "20 mm", rule = "guarded" }\n'
    found = only_check(
        write_job(
            tmp_path,
            section(tol=tol, more=""),
            m_csv=table(shots, "point,n,e,z,sigma_h,sigma_z"),
        )
    )
    row = by_id(found)["whole arc"]
    assert row["verdict"] == "undecided"
    # Radial 10 mm is 7.07 mm an axis; the same circle fit, by the law of propagation.
    xy = np.array([(e, n) for n, e, _ in FIVE.values()])
    expected = math.sqrt(
        radius_covariance(xy, np.array([208.0, 92.0]), np.full(5, 0.01 / math.sqrt(2.0)))[2, 2]
    )
    assert row["sigma_radius"] == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("unit", ["metre", "foot", "us-survey-foot"])
def test_an_arc_by_centre_is_the_same_arc(tmp_path: Path, unit: str) -> None:
    scale = {"metre": 1.0, "foot": 0.3048, "us-survey-foot": 1200 / 3937}[unit]
    shots = {f"S{i}": tuple(v / scale for v in on_arc(i / 4.0, R + 0.01)) for i in range(5)}
    design = (
        f"centre = {{ n = {92.0 / scale!r}, e = {208.0 / scale!r} }}, "
        f'radius = "8 m", turn = "right", '
        f"begin = {{ n = {92.0 / scale!r}, e = {200.0 / scale!r} }}, "
        f"end = {{ n = {100.0 / scale!r}, e = {208.0 / scale!r} }}"
    )
    found = only_check(write_job(tmp_path, section(design, more=""), unit=unit, m_csv=table(shots)))
    rows = by_id(found)
    assert rows["S2"]["offset"] == pytest.approx(-0.01 / scale, abs=1e-5)
    assert rows["whole arc"]["d_radius"] == pytest.approx(0.01 / scale, abs=1e-4)
    # without lines there is nothing to be tangent to
    assert summary(found)["kink_begin"] is None


def test_places_may_be_design_points(tmp_path: Path) -> None:
    points = "point,n,e,z\nA,60,200,0\nB,95,200,0\nC,100,205,0\nD,100,260,0\n"
    design = 'tangents = ["A", "B", "C", "D"], radius = "8 m"'
    found = only_check(write_job(tmp_path, section(design), d_csv=points, m_csv=table(FIVE)))
    assert found["verdict"] == "within"
    (problem,) = problems_of(
        write_job(
            tmp_path / "b",
            section(design.replace('"C"', '"X"')),
            d_csv=points,
            m_csv=table(FIVE),
        )
    )
    assert problem.slug == "unknown-point"


def drawing(folder: Path, *, split: bool = False, levels: bool = False) -> bytes:
    from ezdxf.filemanagement import new

    folder.mkdir(parents=True, exist_ok=True)
    made = new("R2010", units=6)
    space = made.modelspace()
    z = 10.0 if levels else 0.0
    space.add_line((200, 60, z), (200, 92, z), dxfattribs={"layer": "CURB"})
    spans = ((90, 135), (135, 180)) if split else ((90, 180),)
    for start, end in spans:
        space.add_arc((208, 92, z), 8.0, start, end, dxfattribs={"layer": "CURB"})
    space.add_line((208, 100, z), (260, 100, z), dxfattribs={"layer": "CURB"})
    space.add_arc((308, 92, z), 8.0, 90, 180, dxfattribs={"layer": "CURB"})
    space.add_line((0, 0), (1, 0), dxfattribs={"layer": "STRAIGHT"})
    made.saveas(folder / "x.dxf")
    return (folder / "x.dxf").read_bytes()


@pytest.mark.parametrize("split", [False, True])
def test_an_arc_of_a_layer_with_the_lines_that_it_joins(tmp_path: Path, split: bool) -> None:
    data = drawing(tmp_path, split=split)
    found = only_check(
        write_job(tmp_path, section('layer = "CURB"', more=LEVELS), d_dxf=data, m_csv=table(FIVE))
    )
    values = summary(found)
    assert values["design_radius"] == pytest.approx(R)
    assert values["length"] == pytest.approx(R * math.pi / 2.0)
    assert abs(values["turn"]) == pytest.approx(90.0)
    assert values["kink_begin"] == pytest.approx(0.0, abs=1e-4)
    assert any(
        "Of 2 arcs on these layers the nearest is meant" in text for text in found["remarks"]
    )
    assert by_id(found)["whole arc"]["verdict"] == "within"


def test_drawn_elevations_are_the_design_s(tmp_path: Path) -> None:
    data = drawing(tmp_path, levels=True)
    found = only_check(
        write_job(tmp_path, section('layer = "CURB"', more=""), d_dxf=data, m_csv=table(FIVE))
    )
    assert by_id(found)["S2"]["dz"] == pytest.approx(0.1, abs=1e-5)


def test_a_layer_without_an_arc_is_refused(tmp_path: Path) -> None:
    data = drawing(tmp_path)
    (problem,) = problems_of(
        write_job(tmp_path, section('layer = "STRAIGHT"'), d_dxf=data, m_csv=table(FIVE))
    )
    assert problem.slug == "no-arc"


def test_on_ground_the_radius_is_the_plan_s(tmp_path: Path) -> None:
    factor = 0.9996
    shots = {k: (n * factor, e * factor, z) for k, (n, e, z) in FIVE.items()}
    ground = (
        f"[reference]\nground = {{ combined_factor = {factor}, origin = {{ n = 0.0, e = 0.0 }} }}\n"
    )
    found = only_check(write_job(tmp_path, ground + section(), m_csv=table(shots)))
    assert by_id(found)["whole arc"]["radius"] == pytest.approx(R, abs=1e-5)
    assert found["verdict"] == "within"
    (places,) = [each for each in found["tables"] if each["key"] == "arc"]
    assert places["rows"][0]["id"] == "centre"
    assert places["rows"][0]["n"] == pytest.approx(92.0 * factor)
    assert places["rows"][3]["z"] == pytest.approx(10.4)


@pytest.mark.parametrize(
    ("text", "slugs"),
    [
        ('[[curb_return]]\nname = "r"\n', ["missing-key", "missing-key"]),
        (section('radius = "8 m"'), ["conflicting-keys", "missing-key"]),
        (section('layer = "A", centre = { n = 1, e = 1 }'), None),
        (section("tangents = [1, 2], radius = 8"), ["wrong-type"]),
        (section(TANGENTS.replace('"8 m"', "0")), ["bad-value"]),
        (
            section(TANGENTS.replace('"8 m"', '"8 m", turn = "up"')),
            ["conflicting-keys", "wrong-choice"],
        ),
        (section(more="elevations = [10.0]\n"), ["bad-value"]),
        (section(more="elevation = [10.0]\n"), ["unknown-key"]),
        (section(tol='tolerance = { plumb = "1 in" }\n'), ["useless-tolerance"]),
        (section(TANGENTS.replace("n = 100, e = 260", "n = 160, e = 205")), ["tangents-unusable"]),
        (section(TANGENTS.replace("n = 95, e = 200", "n = 60, e = 200")), ["tangents-unusable"]),
        (
            section(
                'centre = { n = 1, e = 1 }, radius = 2, turn = "left", '
                "begin = { n = 1, e = 3 }, end = { n = 1, e = 9 }"
            ),
            ["no-arc"],
        ),
        (
            section(
                'centre = { n = 1, e = 1 }, radius = 2, turn = "left", '
                "begin = { n = 1, e = 1 }, end = { n = 1, e = 9 }"
            ),
            ["no-arc"],
        ),
    ],
)
def test_faults_are_named(tmp_path: Path, text: str, slugs: list[str] | None) -> None:
    problems = problems_of(write_job(tmp_path, text, m_csv=table(FIVE)))
    assert problems
    if slugs is not None:
        assert sorted(each.slug for each in problems) == sorted(slugs)


def test_a_shot_past_what_is_drawn_is_unchecked(tmp_path: Path) -> None:
    shots = {**FIVE, "FAR": (50.0, 200.0, 10.0)}
    row = by_id(only_check(write_job(tmp_path, section(), m_csv=table(shots))))["FAR"]
    assert row["verdict"] == "unchecked"
    assert "10.0000 m before the start of the line that leads in" in row["reason"]


def test_an_earlier_shot_is_superseded_and_an_excluded_one_stays(tmp_path: Path) -> None:
    text = table(FIVE) + "S2,90,190,10\n" + f"S2,{FIVE['S2'][0]:.6f},{FIVE['S2'][1]:.6f},10.1\n"
    found = only_check(write_job(tmp_path, section(), m_csv=text))
    assert found["verdict"] == "within"
    assert sum(row["superseded"] for row in found["rows"]) == 2


# ---------------------------------------------------------------- laws


@settings(max_examples=60, deadline=None)
@given(
    turn=st.floats(0.1, 2.8),
    right=st.booleans(),
    radius=st.floats(1.0, 300.0),
    heading=st.floats(0.0, 6.28),
    north=st.floats(-1e6, 1e6),
    east=st.floats(-1e6, 1e6),
)
def test_the_arc_touches_both_lines(
    turn: float, right: bool, radius: float, heading: float, north: float, east: float
) -> None:
    angle = turn if right else -turn
    u = np.array([math.sin(heading), math.cos(heading)])
    v = np.array([math.sin(heading + angle), math.cos(heading + angle)])
    corner = np.array([east, north])
    back = np.array([corner - 900.0 * u, corner - 100.0 * u])
    ahead = np.array([corner + 100.0 * v, corner + 900.0 * v])
    found = rounded_corner(back, ahead, radius)
    assert found.turn_rad == pytest.approx(angle, abs=1e-9)
    centre = found.begin_m + math.copysign(radius, angle) * np.array([u[1], -u[0]])
    # As far from both lines as the radius, and square to them.
    assert np.hypot(*(found.end_m - centre)) == pytest.approx(radius, abs=1e-6 * (1 + radius))
    assert float((found.end_m - centre) @ v) == pytest.approx(0.0, abs=1e-6 * (1 + radius))
    assert kink_rad(centre, found.begin_m, heading, angle) == pytest.approx(0.0, abs=1e-7)


def test_parallel_lines_make_no_return() -> None:
    line = np.array([[0.0, 0.0], [0.0, 1.0]])
    with pytest.raises(GeometryError):
        rounded_corner(line, line + 5.0, 3.0)


def test_the_sigma_of_a_radius_is_that_of_a_simulation() -> None:
    """An independent check: the spread of the radius over many fits of disturbed points."""
    dice = np.random.default_rng(3)
    angle = np.radians([0.0, 20.0, 45.0, 70.0, 90.0])
    clean = np.column_stack((np.sin(angle), np.cos(angle))) * 10.0
    radii = [fit_circle(clean + dice.normal(0.0, 0.004, clean.shape)).radius_m for _ in range(1500)]
    expected = math.sqrt(radius_covariance(clean, np.zeros(2), np.full(5, 0.004))[2, 2])
    assert float(np.std(radii)) == pytest.approx(expected, rel=0.06)
