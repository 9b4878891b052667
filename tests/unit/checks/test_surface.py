"""As-measured heights against triangles."""

from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from checker.checks.surface import measure_surface
from checker.errors import InputError, Where
from checker.model.drawing import Drawing, Figure, Triangles
from checker.model.inputs import Inputs
from checker.model.job import Ground, Job, Reference, Selection, Surface
from checker.model.measure import Measure
from checker.units import LengthUnit
from tests.support.points import HERE, job, points, texts, tolerance
from tests.support.shapes import by_id, only_check, table, write_job

Corner = tuple[float, float, float]
SQUARE: list[tuple[Corner, Corner, Corner]] = [
    ((0.0, 0.0, 10.0), (100.0, 0.0, 12.0), (0.0, 100.0, 10.0)),
    ((100.0, 0.0, 12.0), (100.0, 100.0, 12.0), (0.0, 100.0, 10.0)),
]
"""A square of 100 m that rises 2 % to the east; easting, northing, elevation."""


def drawing(
    faces: list[tuple[Corner, Corner, Corner]],
    *,
    layer: str = "FG",
    figures: tuple[Figure, ...] = (),
    dropped: dict[str, int] | None = None,
) -> Drawing:
    count = len(faces)
    return Drawing(
        path="d.dxf",
        version="R2010",
        header_unit="metres",
        points=points([]),
        triangles=Triangles(
            corner_m=np.array(faces, dtype=np.float64).reshape(-1, 3, 3),
            layer=texts([layer] * count),
            handle=texts([f"{number:X}" for number in range(count)]),
            dropped=dropped or {},
        ),
        figures=figures,
        linework=(),
        counts=(),
        notices=(),
    )


def ring(*xy: tuple[float, float], closed: bool = True, bulge: float = 0.0) -> Figure:
    corners = np.array([(e, n, 0.0) for e, n in xy])
    return Figure(
        layer="LIMIT",
        kind="LWPOLYLINE",
        handle="77",
        xyz_m=corners,
        bulge=np.full(len(corners), bulge),
        closed=closed,
    )


def measured(
    shots: list[tuple[str, float, float, float]],
    faces: list[tuple[Corner, Corner, Corner]] = SQUARE,
    *,
    figures: tuple[Figure, ...] = (),
    dropped: dict[str, int] | None = None,
    the_job: Job | None = None,
    sigma: tuple[float, float, float] | None = None,
    time: list[str] | None = None,
    **section: Any,
) -> Measure:
    asked = Surface(
        where=HERE,
        name="pad",
        tolerance=tolerance(vertical=0.05),
        layers=("FG",),
        measured=Selection(),
        **section,
    )
    inputs = Inputs(
        files=(),
        measured=points(shots, sigma=sigma, time=time),
        drawings=(drawing(faces, figures=figures, dropped=dropped),),
    )
    return measure_surface(asked, inputs, the_job or job(asked))


def column(measure: Measure, key: str) -> list[float]:
    return [float(value) for value in measure.column(key).values.tolist()]


def items(measure: Measure) -> dict[str, Any]:
    return {item.key: item.value for item in measure.summary}


def test_cut_and_fill_on_a_slope() -> None:
    found = measured([("A", 50.0, 25.0, 10.6), ("B", 60.0, 75.0, 11.4)])  # northing, easting
    assert column(found, "design_z") == pytest.approx([10.5, 11.5], abs=1e-12)
    assert column(found, "dz") == pytest.approx([0.1, -0.1], abs=1e-12)
    assert column(found, "slope") == pytest.approx([0.02, 0.02], abs=1e-14)
    assert column(found, "normal") == pytest.approx([0.1 / 1.0004**0.5, -0.1 / 1.0004**0.5])
    assert found.column("face").values.tolist() == ["0", "1"]


def test_thickness_lowers_the_surface() -> None:
    found = measured([("A", 50.0, 25.0, 10.2)], thickness_m=0.3)
    assert column(found, "design_z") == pytest.approx([10.2], abs=1e-12)
    assert "lowered by 0.300 m" in found.remarks[0]


def test_on_an_edge_and_a_corner_both_triangles_agree() -> None:
    found = measured([("edge", 50.0, 50.0, 11.0), ("corner", 0.0, 100.0, 12.0)])
    assert column(found, "dz") == pytest.approx([0.0, 0.0], abs=1e-12)
    assert found.unchecked.tolist() == ["", ""]


def test_beside_the_surface_is_unchecked_with_its_distance() -> None:
    found = measured([("A", 50.0, 103.2, 11.0), ("B", 50.0, 50.0, 11.0)])
    assert found.unchecked.tolist() == ["outside the surface, 3.200 m from its edge", ""]
    assert items(found)["outside"] == 1
    assert found.used.tolist() == [1]


def frame() -> list[tuple[Corner, Corner, Corner]]:
    """Return a level ring of triangles about a hole from 40 to 60."""
    outer = [(0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0)]
    inner = [(40.0, 40.0), (60.0, 40.0), (60.0, 60.0), (40.0, 60.0)]
    faces = []
    for one in range(4):
        other = (one + 1) % 4
        a, b, c, d = outer[one], outer[other], inner[other], inner[one]
        faces += [
            ((*a, 5.0), (*b, 5.0), (*c, 5.0)),
            ((*a, 5.0), (*c, 5.0), (*d, 5.0)),
        ]
    return faces


def test_a_hole_is_named_and_shots_in_it_are_unchecked() -> None:
    found = measured([("in", 50.0, 50.0, 5.0), ("on", 20.0, 50.0, 5.0)], frame())
    assert found.unchecked.tolist() == ["in a hole of the surface, 10.000 m from its edge", ""]
    (remark,) = found.remarks
    assert "1 hole" in remark
    assert "400.0 m²" in remark
    assert "N 50.0, E 50.0" in remark


def test_two_elevations_are_undecided_and_both_are_named() -> None:
    lid = ((20.0, 20.0, 11.0), (40.0, 20.0, 11.0), (20.0, 40.0, 11.0))
    found = measured([("A", 25.0, 25.0, 11.0), ("B", 70.0, 70.0, 11.4)], [*SQUARE, lid])
    (comparison,) = found.comparisons
    assert np.isnan(comparison.value[0])
    assert comparison.absent is not None
    assert "10.500 m and 11.000 m" in comparison.absent[0]
    assert comparison.value[1] == pytest.approx(0.0, abs=1e-12)
    assert any("lies over itself" in text or "parts" in text for text in found.remarks)


def test_faces_that_carry_no_elevation_are_counted() -> None:
    wall = ((0.0, 0.0, 10.0), (100.0, 0.0, 12.0), (100.0, 0.0, 15.0))
    line = ((0.0, 0.0, 10.0), (50.0, 0.0, 11.0), (100.0, 0.0, 12.0))
    found = measured([("A", 50.0, 50.0, 11.0)], [*SQUARE, wall, line], dropped={"FG": 2, "X": 9})
    assert any(text.startswith("1 vertical face") for text in found.remarks)
    assert any(text.startswith("3 faces without an area") for text in found.remarks)


def test_a_shot_again_at_its_place_supersedes_and_elsewhere_counts() -> None:
    found = measured(
        [("A", 50.0, 50.0, 11.3), ("A", 50.2, 50.1, 11.0), ("A", 20.0, 20.0, 10.4)],
        time=["2031-04-01T10:00", "2031-04-01T12:00", "2031-04-01T11:00"],
    )
    assert found.counted.tolist() == [False, True, True]
    assert found.column("superseded").values.tolist() == [True, False, False]
    assert found.said.tolist() == ["", "", "number A stands at another place too"]


def test_without_an_elevation_or_excluded() -> None:
    section = Surface(where=HERE, name="x", layers=("FG",), measured=Selection())
    found = measured(
        [("A", 50.0, 50.0, np.nan), ("B", 50.0, 50.0, 11.0)],
        the_job=job(section, exclude=[("B", "pole sank")]),
    )
    (comparison,) = found.comparisons
    assert comparison.absent is not None
    assert comparison.absent[0] == "no elevation was measured"
    assert found.unchecked.tolist() == ["", "excluded: pole sank"]
    assert found.counted.tolist() == [True, False]


def test_check_shots_are_left_to_the_control() -> None:
    section = Surface(where=HERE, name="x", layers=("FG",), measured=Selection())
    inputs = Inputs(
        files=(),
        measured=points([("CP1", 5.0, 5.0, 10.0), ("A", 50.0, 50.0, 11.0)]),
        control=points([("CP1", 5.0, 5.0, 10.0)]),
        drawings=(drawing(SQUARE),),
    )
    found = measure_surface(section, inputs, job(section))
    assert found.id.tolist() == ["A"]
    assert "1 check shot on control" in found.remarks[0]


def test_the_place_adds_to_the_uncertainty_on_a_slope() -> None:
    steep = [((0.0, 0.0, 0.0), (10.0, 0.0, 10.0), (0.0, 10.0, 0.0))]
    found = measured([("A", 2.0, 2.0, 2.0)], steep, sigma=(0.03, 0.04, 0.01))
    assert column(found, "sigma_z") == [0.01]
    assert column(found, "sigma_dz") == pytest.approx([(0.01**2 + 0.04**2) ** 0.5])


def test_on_ground_the_shot_is_brought_to_the_drawing() -> None:
    """A design on ground, ten times the grid: the shot at (5, 5) is the design's (50, 50)."""
    section = Surface(where=HERE, name="x", layers=("FG",), measured=Selection())
    plain = job(section)
    the_job = Job(
        file=plain.file,
        root=plain.root,
        title="t",
        unit=LengthUnit.METRE,
        measured=plain.measured,
        checks=(section,),
        reference=Reference(ground=Ground(combined_factor=0.1, origin_n_m=0.0, origin_e_m=0.0)),
    )
    found = measured([("A", 5.0, 5.0, 11.0)], the_job=the_job)
    assert column(found, "dz") == pytest.approx([0.0], abs=1e-12)
    assert column(found, "measured_n") == [5.0]


# ---------------------------------------------------------------- the volume


def pad(height: float) -> list[tuple[str, float, float, float]]:
    places = [(0.0, 0.0), (0.0, 100.0), (100.0, 100.0), (100.0, 0.0), (40.0, 70.0)]
    return [(f"S{i}", n, e, 10.0 + 0.02 * e + height) for i, (n, e) in enumerate(places)]


def test_the_volume_of_a_slab_is_area_times_height() -> None:
    cut = items(measured(pad(0.5), volume=True))
    assert cut["cut_volume"] == pytest.approx(5000.0, rel=1e-12)
    assert cut["fill_volume"] == pytest.approx(0.0, abs=1e-9)
    fill = items(measured(pad(-0.25), volume=True))
    assert fill["fill_volume"] == pytest.approx(2500.0, rel=1e-12)
    assert fill["net_volume"] == pytest.approx(-2500.0, rel=1e-12)


def test_the_volume_of_a_pyramid() -> None:
    """A square of shots at design about one that stands 3 m high: a third of base times height."""
    shots = [
        *[(f"S{i}", n, e, 10.0 + 0.02 * e) for i, (n, e) in enumerate([(0, 0), (0, 100.0)])],
        ("S2", 100.0, 100.0, 12.0),
        ("S3", 100.0, 0.0, 10.0),
        ("top", 50.0, 50.0, 14.0),
    ]
    found = items(measured(shots, volume=True))
    assert found["cut_volume"] == pytest.approx(100.0 * 100.0 * 3.0 / 3.0, rel=1e-12)
    assert found["volume_area"] == pytest.approx(10_000.0, rel=1e-12)


def test_the_volume_of_a_truncated_pyramid() -> None:
    """A pit in a level design: h / 3 (A1 + A2 + root of A1 A2), a closed form (from memory)."""
    level = [
        ((0.0, 0.0, 10.0), (100.0, 0.0, 10.0), (0.0, 100.0, 10.0)),
        ((100.0, 0.0, 10.0), (100.0, 100.0, 10.0), (0.0, 100.0, 10.0)),
    ]
    rim = [(20.0, 20.0), (20.0, 80.0), (80.0, 80.0), (80.0, 20.0)]
    floor = [(40.0, 40.0), (40.0, 60.0), (60.0, 60.0), (60.0, 40.0)]
    shots = [(f"r{i}", n, e, 10.0) for i, (n, e) in enumerate(rim)]
    shots += [(f"f{i}", n, e, 7.0) for i, (n, e) in enumerate(floor)]
    found = items(measured(shots, level, volume=True))
    exact = 3.0 / 3.0 * (3600.0 + 400.0 + (3600.0 * 400.0) ** 0.5)
    assert found["fill_volume"] == pytest.approx(exact, rel=1e-12)
    assert found["cut_volume"] == pytest.approx(0.0, abs=1e-9)


def test_within_a_boundary_with_an_arc() -> None:
    """Two half circles of radius 20: the bulge of 1 is half a turn."""
    circle = ring((30.0, 50.0), (70.0, 50.0), bulge=1.0)
    found = measured(pad(1.0), volume=True, boundary=("LIMIT",), figures=(circle,))
    assert items(found)["volume_area"] == pytest.approx(np.pi * 400.0, abs=0.1)
    assert items(found)["cut_volume"] == pytest.approx(np.pi * 400.0, abs=0.1)
    assert not any("The boundary encloses" in text for text in found.remarks)


def test_a_boundary_beyond_the_shots_is_said() -> None:
    wide = ring((0.0, 0.0), (200.0, 0.0), (200.0, 100.0), (0.0, 100.0))
    found = measured(pad(1.0), volume=True, boundary=("LIMIT",), figures=(wide,))
    assert items(found)["volume_area"] == pytest.approx(10_000.0, rel=1e-9)
    assert "10,000.0 m² of it have no shots" in found.remarks[-1]


def test_the_uncertainty_of_a_volume() -> None:
    """Four corners on one centre: each corner carries a sixth of the area, the centre a third."""
    found = items(
        measured(
            [
                ("a", 0.0, 0.0, 11.0),
                ("b", 0.0, 100.0, 13.0),
                ("c", 100.0, 100.0, 13.0),
                ("d", 100.0, 0.0, 11.0),
                ("e", 50.0, 50.0, 12.0),
            ],
            volume=True,
            sigma=(0.01, 0.01, 0.03),
        )
    )
    expected = 0.03 * 10_000.0 * (4 * (1 / 6) ** 2 + (1 / 3) ** 2) ** 0.5
    assert found["sigma_net_volume"] == pytest.approx(expected, rel=1e-9)
    assert found["sigma_cut_volume"] == pytest.approx(expected, rel=1e-9)


def test_two_shots_at_one_place_are_said() -> None:
    found = measured([*pad(0.5), ("again", 40.0, 70.0, 12.0)], volume=True)
    assert any("1 shot at places of others" in text for text in found.remarks)


def test_a_surface_as_narrow_as_a_crack() -> None:
    strip = [((0.0, 0.0, 1.0), (10.0, 0.0, 1.0), (0.0, 0.005, 1.0))]
    found = measured([("A", 5.0, 5.0, 1.0), ("B", 0.001, 1.0, 1.0)], strip)
    assert found.unchecked.tolist()[0].startswith("outside the surface, 4.9")
    assert found.unchecked.tolist()[1] == ""


def test_without_a_shown_sigma_the_volume_has_none() -> None:
    found = items(measured(pad(0.5), volume=True))
    assert found["sigma_net_volume"] is None


@pytest.mark.parametrize(
    ("shots", "says"),
    [
        ([("A", 10.0, 10.0, 10.2), ("B", 20.0, 20.0, 10.4)], "fewer than three shots"),
        ([(f"S{i}", 10.0 * i, 10.0 * i, 10.2) for i in range(1, 6)], "in one line"),
    ],
)
def test_no_volume_is_said(shots: list[tuple[str, float, float, float]], says: str) -> None:
    found = measured(shots, volume=True)
    assert items(found)["cut_volume"] is None
    assert any("No volume" in text and says in text for text in found.remarks)


# ---------------------------------------------------------------- what is refused


@pytest.mark.parametrize(
    ("change", "slug", "says"),
    [
        ({"figures": (ring((0, 0), (9, 0), (9, 9), closed=False),)}, "boundary-open", "77"),
        ({"figures": (ring((0, 0), (9, 9), (9, 0), (0, 9)),)}, "boundary-crossing", "crosses"),
        ({}, "layer-unknown", "no line is drawn"),
    ],
)
def test_a_boundary_that_encloses_nothing(change: dict[str, Any], slug: str, says: str) -> None:
    with pytest.raises(InputError) as caught:
        measured(pad(0.1), volume=True, boundary=("LIMIT",), **change)
    (problem,) = caught.value.problems
    assert problem.slug == slug
    assert says in problem.message
    assert problem.where == HERE


def test_a_layer_without_triangles_names_those_that_have_some() -> None:
    section = Surface(
        where=Where(file="job.toml", line=3), name="x", layers=("FGG",), measured=Selection()
    )
    inputs = Inputs(files=(), measured=points([("A", 1.0, 1.0, 1.0)]), drawings=(drawing(SQUARE),))
    with pytest.raises(InputError) as caught:
        measure_surface(section, inputs, job(section))
    (problem,) = caught.value.problems
    assert problem.slug == "no-triangles"
    assert "FG" in problem.hint


def test_only_standing_faces_make_no_surface() -> None:
    wall = [((0.0, 0.0, 10.0), (100.0, 0.0, 12.0), (100.0, 0.0, 15.0))]
    with pytest.raises(InputError) as caught:
        measured([("A", 1.0, 1.0, 1.0)], wall)
    assert [problem.slug for problem in caught.value.problems] == ["no-surface"]


# ---------------------------------------------------------------- through the files

CORNERS = [("1", 0.0, 0.0, 10.0), ("2", 0.0, 100.0, 12.0), ("3", 100.0, 0.0, 10.0)]


def test_a_surface_in_tables_gives_exact_elevations(tmp_path: Path) -> None:
    shots = [("A", 12.5, 30.25, 10.625), ("B", 90.0, 90.0, 10.0)]
    folder = write_job(
        tmp_path,
        '[[surface]]\nname = "pad"\ntolerance = { above = "20 mm", below = "50 mm" }\n'
        'design = { points = "p.csv", faces = "f.csv" }\n',
        m_csv=table(shots),
        p_csv=table(CORNERS),
        f_csv="a,b,c\n1,2,3\n",
    )
    found = only_check(folder)
    assert found["kind"] == "surface"
    rows = by_id(found)
    exact = Fraction(10) + Fraction(2, 100) * Fraction("30.25")
    assert Fraction(rows["A"]["design_z"]).limit_denominator(10**9) == exact
    assert rows["A"]["verdict"] == "within"
    assert rows["B"]["verdict"] == "unchecked"
    assert rows["B"]["reason"].startswith("outside the surface")
    assert found["verdict"] == "unchecked"
    assert found["summary"]["share_within"] == 1.0
    keys = ("id", "measured_n", "measured_e", "measured_z", "design_z", "dz", "cut_fill", "slope")
    assert all(key in rows["A"] for key in (*keys, "sigma_z"))
