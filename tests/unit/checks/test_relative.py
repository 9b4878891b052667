"""How points stand to each other."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from checker.checks.relative import measure_relative
from checker.errors import InputError
from checker.model.job import Relative, Selection
from checker.model.measure import Measure
from tests.support.points import HERE, Shot, inputs, job, points, tolerance
from tests.support.shapes import by_id, only_check, problems_of, table, write_job

BOLTS: list[Shot] = [
    ("1", 0.0, 0.0, 5.0),
    ("2", 0.0, 4.0, 5.0),
    ("3", 3.0, 4.0, 5.0),
    ("4", 3.0, 0.0, 5.0),
]


def moved(north: float = 0.0, east: float = 0.0, turn: float = 0.0, up: float = 0.0) -> list[Shot]:
    """Return the bolts turned clockwise about their middle, then moved."""
    middle = complex(1.5, 2.0)
    found = []
    for name, n, e, z in BOLTS:
        # North real and east imaginary: a clockwise turn is a positive angle.
        place = (complex(n, e) - middle) * np.exp(1j * turn) + middle + complex(north, east)
        found.append((name, float(place.real), float(place.imag), z + up))
    return found


def measured(
    shots: list[Shot],
    *,
    design: list[Shot] | None = None,
    exclude: tuple[tuple[str, str], ...] = (),
    sigma: tuple[float, float, float] | None = None,
    **section: Any,
) -> Measure:
    asked = Relative(
        where=HERE, name="bolts", tolerance=tolerance(distance=0.01, elevation=0.01), **section
    )
    data = inputs(design=points(design or BOLTS), measured=points(shots, sigma=sigma))
    return measure_relative(asked, data, job(asked, exclude=exclude))


def column(measure: Measure, key: str) -> list[float]:
    return [float(value) for value in measure.column(key).values.tolist()]


def items(measure: Measure) -> dict[str, Any]:
    return {item.key: item.value for item in measure.summary}


def test_a_group_is_every_pair() -> None:
    found = measured(moved(), group=Selection())
    assert found.id.tolist() == ["1-2", "1-3", "1-4", "2-3", "2-4", "3-4"]
    assert column(found, "design_distance") == [4.0, 5.0, 3.0, 3.0, 5.0, 4.0]
    assert column(found, "d_distance") == pytest.approx([0.0] * 6, abs=1e-12)
    assert found.shots.tolist() == [[0, 1], [0, 2], [0, 3], [1, 2], [1, 3], [2, 3]]


def test_pairs_are_second_minus_first() -> None:
    shots = [*BOLTS[:1], ("2", 0.0, 4.02, 5.03)]
    found = measured(shots, pairs=(("1", "2"), ("2", "1")))
    assert column(found, "d_distance") == pytest.approx([0.02, 0.02])
    assert column(found, "dz") == pytest.approx([0.03, -0.03])


def test_best_fit_finds_shift_and_turn() -> None:
    found = measured(moved(0.12, -0.05, 0.001, 0.03), group=Selection())
    summary = items(found)
    assert summary["shift_n"] == pytest.approx(0.12, abs=1e-9)
    assert summary["shift_e"] == pytest.approx(-0.05, abs=1e-9)
    assert summary["shift"] == pytest.approx(0.13, abs=1e-9)
    assert summary["rotation_arcsec"] == pytest.approx(0.001, rel=1e-6)
    assert summary["shift_z"] == pytest.approx(0.03, abs=1e-9)
    assert summary["left_max"] == pytest.approx(0.0, abs=1e-9)
    text = found.remarks[0]
    assert "120 mm north and 50 mm west" in text
    assert "0°03′26″ clockwise" in text
    assert column(found, "d_distance") == pytest.approx([0.0] * 6, abs=1e-9)


def test_what_is_left_inside_names_the_point() -> None:
    shots = [*BOLTS[:3], ("4", 3.08, 0.0, 5.0)]
    found = measured(shots, group=Selection())
    assert "at 4 (" in found.remarks[0]


def test_diagonals_tell_what_is_out_of_square() -> None:
    """A parallelogram: sides keep their length, one diagonal grows and the other shrinks."""
    lean = 0.03
    shots = [
        ("1", 0.0, 0.0, 5.0),
        ("2", 0.0, 4.0, 5.0),
        ("3", (9 - lean**2) ** 0.5, 4.0 + lean, 5.0),
        ("4", (9 - lean**2) ** 0.5, lean, 5.0),
    ]
    found = measured(shots, group=Selection())
    (text,) = [each for each in found.remarks if each.startswith("Diagonals")]
    assert "1-3 is 24 mm longer" in text or "3-1 is 24 mm longer" in text
    assert "24 mm shorter" in text
    assert "48 mm off" in text


def test_a_group_may_be_described_as_the_crew_did() -> None:
    """The drawing's points have no description; those of the shots name the group."""
    asked = Relative(where=HERE, name="b", group=Selection(descriptions=("BOLT*",)))
    shots = points(moved(), description=["BOLT", "BOLT", "bolt 3", "HUB"])
    found = measure_relative(asked, inputs(design=points(BOLTS), measured=shots), job(asked))
    assert found.id.tolist() == ["1-2", "1-3", "2-3"]
    nothing = Relative(where=HERE, name="b", group=Selection(descriptions=("ROD*",)))
    with pytest.raises(InputError) as caught:
        measure_relative(nothing, inputs(design=points(BOLTS), measured=shots), job(nothing))
    assert [problem.slug for problem in caught.value.problems] == ["selection-empty"]


def test_groups_are_compared_by_their_middles() -> None:
    found = measured(
        moved(east=0.2),
        groups={"A": Selection(ids=("1", "4")), "B": Selection(ids=("2", "3"))},
        pairs=(("A", "B"), ("A", "1")),
    )
    assert found.id.tolist() == ["A-B", "A-1"]
    assert column(found, "design_distance") == pytest.approx([4.0, 1.5])
    assert column(found, "d_distance") == pytest.approx([0.0, 0.0], abs=1e-12)
    assert found.shots.shape == (2, 4)


def test_a_line_accumulates_from_its_first_point() -> None:
    shots = [("1", 0.0, 0.0, 5.0), ("2", 0.0, 4.01, 5.0), ("3", 3.0, 4.01, 5.0)]
    found = measured(shots, line=("1", "2", "3"))
    assert found.id.tolist() == ["1-2", "1-3"]
    assert column(found, "d_distance")[0] == pytest.approx(0.01)


def test_the_latest_shot_speaks_and_the_excluded_does_not() -> None:
    shots = [("1", 9.0, 9.0, 9.0), *BOLTS]
    found = measured(shots, pairs=(("1", "2"), ("1", "3")), exclude=(("3", "bent"),))
    assert column(found, "d_distance")[0] == pytest.approx(0.0, abs=1e-12)
    assert found.unchecked.tolist() == ["", "3 is excluded: bent"]
    assert "1 earlier shot of" in found.remarks[-1]


def test_what_was_not_measured_is_unchecked() -> None:
    found = measured(BOLTS[:3], group=Selection())
    assert found.unchecked.tolist()[2] == "4 was not measured"
    assert found.unchecked.tolist()[0] == ""
    assert items(found)["missing"] == 1


def test_sigma_of_a_distance_is_the_part_along_the_line() -> None:
    found = measured(moved(), pairs=(("1", "2"), ("1", "4")), sigma=(0.03, 0.04, 0.05))
    assert column(found, "sigma_distance") == pytest.approx([0.04 * 2**0.5, 0.03 * 2**0.5])
    assert column(found, "sigma_dz") == pytest.approx([0.05 * 2**0.5] * 2)


def test_no_elevation_in_design_or_shot() -> None:
    flat = [("1", 0.0, 0.0, np.nan), ("2", 0.0, 4.0, 5.0)]
    design = measured(BOLTS, design=flat, pairs=(("1", "2"),)).comparisons[1]
    assert design.absent is not None
    assert design.absent[0] == "the design gives no elevation"
    shot = measured(flat, pairs=(("1", "2"),)).comparisons[1]
    assert shot.absent is not None
    assert shot.absent[0] == "no elevation was measured"


@pytest.mark.parametrize(
    ("section", "slug", "says"),
    [
        ({"pairs": (("1", "22"),)}, "unknown-point", '"22"'),
        ({"pairs": (("7", "8"),)}, "unknown-point", '"7"'),
        ({"group": Selection(ids=("1",))}, "group-too-small", "1 numbered design point"),
        ({"group": Selection(ids=("1", "99"))}, "selection-empty", '"99"'),
        ({"line": ("1",)}, "group-too-small", "one point"),
        (
            {"groups": {"A": Selection(ids=("1",))}, "pairs": (("A", "2"),)},
            "group-too-small",
            "groups, A",
        ),
    ],
)
def test_what_is_no_pair_or_group(section: dict[str, Any], slug: str, says: str) -> None:
    with pytest.raises(InputError) as caught:
        measured(BOLTS, **section)
    assert slug in {problem.slug for problem in caught.value.problems}
    assert any(says in problem.message for problem in caught.value.problems)


def test_a_group_of_hundreds_is_refused() -> None:
    many = [(f"P{i}", float(i), 0.0, 0.0) for i in range(201)]
    with pytest.raises(InputError) as caught:
        measured(many, design=many, group=Selection())
    assert [problem.slug for problem in caught.value.problems] == ["group-too-large"]


# ---------------------------------------------------------------- plumb

COLUMN: list[Shot] = [("low", 10.0, 10.0, 100.0), ("top", 10.003, 9.996, 105.0)]


def test_a_top_that_leans() -> None:
    found = measured([*BOLTS, *COLUMN], plumb=(("low", "top"),), pairs=(("1", "2"),))
    assert found.id.tolist() == ["1-2", "low-top"]
    assert column(found, "lean")[1] == pytest.approx(0.005, abs=1e-12)
    assert column(found, "lean_n")[1] == pytest.approx(0.003, abs=1e-12)
    assert column(found, "lean_e")[1] == pytest.approx(-0.004, abs=1e-12)
    assert column(found, "height")[1] == 5.0
    assert np.isnan(column(found, "lean")[0])
    assert np.isnan(column(found, "d_distance")[1])
    assert items(found)["pairs"] == 1


def test_a_design_that_leans_is_taken_off() -> None:
    design = [*BOLTS, ("low", 10.0, 10.0, 100.0), ("top", 10.003, 9.996, 105.0)]
    found = measured(COLUMN, design=design, plumb=(("low", "top"),))
    assert column(found, "lean") == pytest.approx([0.0], abs=1e-12)


def test_out_of_plumb_may_grow_with_the_height(tmp_path: Path) -> None:
    section = (
        '[[relative]]\nname = "columns"\nplumb = [["low", "top"]]\n'
        'tolerance = { plumb = "1 mm + LIMIT ppm" }\n'
    )
    files = {"d_csv": table(BOLTS), "m_csv": table(COLUMN)}
    good = only_check(write_job(tmp_path / "a", section.replace("LIMIT", "1000"), **files))
    assert good["verdict"] == "within"  # 5 mm of 6 mm
    bad = only_check(write_job(tmp_path / "b", section.replace("LIMIT", "500"), **files))
    assert bad["verdict"] == "outside"
    assert "out of plumb 5.0 mm, limit 3.5 mm" in bad["reason"]


def test_the_rounding_of_the_design_is_in_the_sigma_of_a_pair(tmp_path: Path) -> None:
    """Each end by 10 mm over the root of 12 on every axis; along the line it is the same."""
    write_job(
        tmp_path,
        '[[relative]]\nname = "pair"\npairs = [["1", "2"]]\n'
        'tolerance = { distance = "20 mm", elevation = "20 mm" }\n',
        d_csv=table([("1", 0.0, 0.0, 10.0), ("2", 30.0, 40.0, 9.0)]),
        m_csv="id,northing,easting,elevation,sigma_n,sigma_e,sigma_z\n"
        "1,0,0,10,.003,.003,.005\n2,30,40,9,.004,.004,.004\n",
    )
    job = tmp_path / "job.toml"
    job.write_text(job.read_text().replace('"d.csv"', '"d.csv"\nrounded_to = 0.01'), "utf-8")
    (only,) = only_check(tmp_path)["rows"]
    rounding = 2.0 * 0.01**2 / 12.0
    assert only["sigma_distance"] == pytest.approx((0.003**2 + 0.004**2 + rounding) ** 0.5)
    assert only["sigma_dz"] == pytest.approx((0.005**2 + 0.004**2 + rounding) ** 0.5)


def test_plumb_alone_needs_no_design(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text(
        '[job]\ntitle = "Columns"\nunit = "metre"\n[measured]\nfiles = ["m.csv"]\n[[relative]]\n'
        'name = "columns"\nplumb = [["low", "top"]]\ntolerance = { plumb = "6 mm" }\n',
        "utf-8",
    )
    (tmp_path / "m.csv").write_text(table(COLUMN), "utf-8")
    found = only_check(tmp_path)
    assert found["verdict"] == "within"
    (only,) = found["rows"]
    assert only["verdict"] == "within"


def test_a_top_that_nobody_knows() -> None:
    with pytest.raises(InputError) as caught:
        measured(BOLTS, plumb=(("1", "nowhere"),))
    assert [problem.slug for problem in caught.value.problems] == ["unknown-point"]


# ---------------------------------------------------------------- through the files

SECTION = """
[[relative]]
name = "Bolts"
group = { id = ["1", "2", "3", "4"] }
tolerance = { distance = "5 mm", elevation = "5 mm" }
"""


def test_right_shape_in_the_wrong_place_is_said(tmp_path: Path) -> None:
    folder = write_job(tmp_path, SECTION, d_csv=table(BOLTS), m_csv=table(moved(0.04, 0.0, 0.0001)))
    found = only_check(folder)
    assert found["verdict"] == "within"
    assert found["remarks"][0].startswith("The shape is right, the place is wrong")
    assert set(by_id(found)["1-2"]) >= {"design_distance", "measured_distance", "d_distance", "dz"}
    assert found["summary"]["rotation_arcsec"] == pytest.approx(np.degrees(0.0001) * 3600, rel=1e-4)


def test_wrong_shape_in_the_right_place_is_said(tmp_path: Path) -> None:
    """Two opposite corners pulled apart: the middle stays."""
    shots = [("1", -0.02, 0.0, 5.0), BOLTS[1], ("3", 3.02, 4.0, 5.0), BOLTS[3]]
    found = only_check(write_job(tmp_path, SECTION, d_csv=table(BOLTS), m_csv=table(shots)))
    assert found["verdict"] == "outside"
    assert found["remarks"][0].startswith("The place is right, the shape is wrong")


def test_where_both_are_right_nothing_is_said_of_them(tmp_path: Path) -> None:
    found = only_check(write_job(tmp_path, SECTION, d_csv=table(BOLTS), m_csv=table(moved(0.001))))
    assert not any("wrong" in text for text in found["remarks"])


def test_a_tolerance_may_grow_with_the_distance(tmp_path: Path) -> None:
    section = (
        '[[relative]]\nname = "grid"\npairs = [[1, 2], [1, 3]]\n'
        'tolerance = { distance = "2 mm + 1000 ppm" }\n'
    )
    shots = [("1", 0.0, 0.0, 5.0), ("2", 0.0, 4.005, 5.0), ("3", 3.0048, 4.0064, 5.0)]
    found = only_check(write_job(tmp_path, section, d_csv=table(BOLTS), m_csv=table(shots)))
    rows = by_id(found)
    assert rows["1-2"]["verdict"] == "within"  # 5 mm of 6 mm
    assert rows["1-3"]["verdict"] == "outside"  # 8 mm of 7 mm


def test_a_number_that_the_design_lacks_is_named_with_its_section(tmp_path: Path) -> None:
    folder = write_job(
        tmp_path,
        '[[relative]]\npairs = [["1", "9"]]\ntolerance = { distance = "5 mm" }\n',
        d_csv=table(BOLTS),
        m_csv=table(BOLTS),
    )
    (problem,) = problems_of(folder)
    assert problem.slug == "unknown-point"
    assert problem.where.line == 8


TWO = "point,n,e,z\nA,0,0,0\nB,0,1,0\n"


def upright(folder: Path, shots: str, limit: str) -> dict[str, Any]:
    section = (
        '[[relative]]\nname = "columns"\nplumb = [["Kb", "Kt"]]\n'
        f'tolerance = {{ plumb = "{limit}" }}\n'
    )
    found = only_check(
        write_job(folder, section, d_csv=TWO, m_csv=f"point,n,e,z\nKb,0,0,0\n{shots}\n")
    )
    return {**by_id(found)["Kb-Kt"], "most": found["summary"]["max_lean"]}


@pytest.mark.parametrize(
    ("height", "off", "verdict"),
    [
        (10.0, 0.020, "within"),  # 10 m / 500
        (10.0, 0.0201, "outside"),
        (20.0, 0.0254, "within"),  # capped at an inch, not 40 mm
        (20.0, 0.0256, "outside"),
        (1.0, 0.003, "within"),  # never less than 3 mm
        (1.0, 0.0031, "outside"),
    ],
)
def test_a_top_may_stand_off_by_its_height_with_a_floor_and_a_cap(
    tmp_path: Path, height: float, off: float, verdict: str
) -> None:
    found = upright(tmp_path, f"Kt,{off},0,{height}", "1:500, at least 3 mm, at most 1 in")
    assert found["verdict"] == verdict, found["reason"]
    assert found["height"] == pytest.approx(height)
    assert found["most"] == pytest.approx(off)


def test_a_top_at_the_height_of_its_bottom_is_undecided(tmp_path: Path) -> None:
    found = upright(tmp_path, "Kt,0.01,0,0", "1:500")
    assert found["verdict"] == "undecided"
    assert "at one height" in found["reason"]


def test_a_wall_may_be_thicker_by_more_than_thinner(tmp_path: Path) -> None:
    section = (
        '[[relative]]\nname = "walls"\npairs = [["A", "B"]]\n'
        'tolerance = { shorter = "5 mm", longer = "10 mm" }\n'
    )

    def wall(folder: Path, thick: float) -> dict[str, Any]:
        shots = f"point,n,e,z\nA,0,0,0\nB,0,{thick},0\n"
        found = by_id(only_check(write_job(folder, section, d_csv=TWO, m_csv=shots)))
        return dict(found["A-B"])

    assert wall(tmp_path / "a", 1.009)["verdict"] == "within"
    assert wall(tmp_path / "b", 1.011)["verdict"] == "outside"
    assert wall(tmp_path / "c", 0.996)["verdict"] == "within"
    thin = wall(tmp_path / "d", 0.994)
    assert thin["verdict"] == "outside"
    assert "distance 6 mm too short, limit 5 mm" in thin["reason"]


def test_a_difference_of_elevation_may_grow_with_the_distance(tmp_path: Path) -> None:
    section = (
        '[[relative]]\nname = "level"\npairs = [["A", "B"], ["A", "C"]]\n'
        'tolerance = { elevation = "3 mm per 2 m, at most 6 mm" }\n'
    )
    design = TWO + "C,0,40,0\n"
    shots = "point,n,e,z\nA,0,0,0\nB,0,1,0.002\nC,0,40,0.0055\n"
    rows = by_id(only_check(write_job(tmp_path, section, d_csv=design, m_csv=shots)))
    assert rows["A-B"]["verdict"] == "outside"  # 1.5 mm over 1 m
    assert rows["A-C"]["verdict"] == "within"
