import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from checker.checks.network import measure_network
from checker.checks.traverse import measure_traverse
from checker.errors import InputError, Where
from checker.formulas import parse_formula
from checker.model.books import Book
from checker.model.inputs import Inputs
from checker.model.job import (
    Adjust,
    AngleKind,
    CheckSection,
    Job,
    Levels,
    Network,
    Shape,
    Sigmas,
    Tolerance,
    Traverse,
    VectorFrame,
    Vectors,
)
from checker.model.measure import Measure
from checker.read.files import Source
from checker.read.vectors import read_vector_book
from checker.units import ARCSEC, LengthUnit
from tests.support.books import (
    NAN,
    angle_at,
    comparison,
    control_points,
    direction,
    length,
    level_book,
    place,
    rise_book,
    traverse_book,
    values,
)

M = LengthUnit.METRE
WHERE = Where(file="job.toml", line=40)
SIGMAS = Sigmas(
    angle=parse_formula("5 arcsec", "angle", M),
    distance=parse_formula("2 mm + 2 ppm", "length", M),
    rise=parse_formula("1 mm * sqrt(km)", "length", M),
    vector=parse_formula("3 mm", "length", M),
)
# An invented block: outer ring A-B-C-D and a cross line over E.
AT = {
    "A": (1000.0, 1000.0, 10.0),
    "B": (1010.0, 1400.0, 11.0),
    "C": (1420.0, 1390.0, 13.0),
    "D": (1400.0, 990.0, 12.0),
    "E": (1200.0, 1210.0, 15.0),
    "Z": (800.0, 900.0, NAN),
}
Row = tuple[str, str, float, float]


def walked(path: list[str], back: str | None, ahead: str | None) -> list[Row]:
    rows: list[Row] = []
    for index in range(len(path) - 1):
        before = path[index - 1] if index else back
        angle = (
            NAN
            if before is None
            else angle_at(
                AngleKind.RIGHT,
                AT[before][:2],
                AT[path[index]][:2],
                AT[path[index + 1]][:2],
                cw=False,
            )
        )
        rows.append(
            (
                path[index],
                path[index + 1],
                angle,
                length(AT[path[index]][:2], AT[path[index + 1]][:2]),
            )
        )
    if ahead is not None:
        angle = angle_at(
            AngleKind.RIGHT, AT[path[-2]][:2], AT[path[-1]][:2], AT[ahead][:2], cw=False
        )
        rows.append((path[-1], ahead, angle, NAN))
    return rows


RING = walked(["A", "B", "C", "D", "A"], "Z", "B")
CROSS = walked(["A", "E", "C"], "Z", None)
SPAN = walked(["B", "E", "D"], "A", "A")


def traverse(name: str, rows: list[Row], **more: Any) -> tuple[Traverse, Book]:
    given: dict[str, Any] = {"start": "A", "backsight": "Z", "shape": Shape.LOOP} | more
    section = Traverse(
        where=WHERE, name=name, file="t.csv", unit=M, angles=AngleKind.RIGHT, **given
    )
    return section, traverse_book(rows)


def block(ring: list[Row] | None = None, cross: list[Row] | None = None) -> list[Any]:
    return [
        traverse("ring", ring or RING),
        traverse("cross", cross or CROSS, shape=Shape.OPEN),
        traverse("span", SPAN, shape=Shape.OPEN, start=place(*AT["B"][:2]), backsight="A"),
    ]


def network(
    parts: list[tuple[CheckSection, Book]],
    *,
    held: tuple[str, ...] | None = ("A", "Z"),
    known: Mapping[str, tuple[float, ...]] | None = None,
    **more: Any,
) -> Measure:
    given: dict[str, Any] = {"sigmas": SIGMAS} | more
    section = Network(
        where=WHERE,
        name="N",
        use=tuple(part[0].name for part in parts),
        unit=M,
        fixed=held,
        **given,
    )
    job = Job(
        file="job.toml",
        root=Path(),
        title="Invented",
        unit=M,
        checks=(*(part[0] for part in parts), section),
    )
    inputs = Inputs(
        files=(),
        control=control_points(known or AT),
        books={part[0].name: part[1] for part in parts},
    )
    return measure_network(section, inputs, job)


def summary(measure: Measure) -> dict[str, Any]:
    return {entry.key: entry.value for entry in measure.summary}


def at(measure: Measure, name: str) -> list[float]:
    row = list(measure.id).index(name)
    return [float(values(measure, axis)[row]) for axis in "nez"]


def test_a_net_without_errors_gives_back_its_stations() -> None:
    parts = block()
    measure = network(parts[:2])
    total = summary(measure)
    # 6 distances and 7 angles, 8 unknown coordinates.
    assert total["observations"] == 13
    assert total["degrees_of_freedom"] == 13 - 8
    for name in "BCDE":
        assert at(measure, name)[:2] == pytest.approx(AT[name][:2], abs=1e-6)
    assert total["chi2"] == pytest.approx(0.0, abs=1e-9)
    # Too good to be true is said too: the test has two sides.
    assert "do not fit" in measure.whole_undecided


def test_a_position_given_in_the_job_is_held() -> None:
    measure = network(block(), held=None)
    assert summary(measure)["degrees_of_freedom"] > 5
    assert list(measure.column("mark").values)[list(measure.id).index("B")] == "held"


def noisy(rows: list[Row], rng: np.random.Generator) -> list[Row]:
    return [
        (
            one,
            other,
            angle + 5 * ARCSEC * float(rng.standard_normal()),
            leg + (0.002 + 2e-6 * (0.0 if math.isnan(leg) else leg)) * float(rng.standard_normal()),
        )
        for one, other, angle, leg in rows
    ]


def test_a_wrong_distance_stands_out_and_leaves_it_undecided() -> None:
    rng = np.random.default_rng(7)
    cross = noisy(CROSS, rng)
    one, other, angle, leg = cross[0]
    cross[0] = (one, other, angle, leg + 0.25)
    measure = network(block(noisy(RING, rng), cross)[:2])
    assert measure.whole_undecided == "an observation stands out: distance A to E"
    assert any("observed minus right is about +2" in text for text in measure.remarks)
    marks = dict(zip(measure.id, measure.column("mark").values, strict=True))
    assert marks["distance A to E"] == "stands out"


def test_precision_is_judged_by_the_pair_that_uses_most_of_its_limit() -> None:
    rng = np.random.default_rng(3)
    tolerance = Tolerance(name="t", distance=parse_formula("2 cm + 50 ppm", "length", M))
    measure = network(block(noisy(RING, rng), noisy(CROSS, rng))[:2], tolerance=tolerance)
    compared = comparison(measure, "distance")
    total = summary(measure)
    assert compared.value[0] == total["relative_semi_major"]
    assert compared.length_m is not None
    first, last = str(total["weakest_pair"]).split("-")
    assert compared.length_m[0] == pytest.approx(math.dist(AT[first][:2], AT[last][:2]), abs=0.05)


def test_ellipses_by_f_and_by_chi_square() -> None:
    """Factors against tables: sqrt(2 F(0.95; 2, 5)) = 3.402, sqrt(chi2(0.95, 2)) = 2.448.

    F(0.95; 2, 5) = 5.786 and chi-square 5.991 stand in any table of statistics (from memory).
    """
    rng = np.random.default_rng(5)
    parts = block(noisy(RING, rng), noisy(CROSS, rng))[:2]
    after, before = network(parts), network(parts, a_priori=True)
    assert summary(after)["degrees_of_freedom"] == 5
    ratio = summary(after)["ellipse_factor"] / summary(after)["sigma0"]
    assert ratio == pytest.approx(3.402, abs=0.001)
    assert summary(before)["ellipse_factor"] == pytest.approx(2.448, abs=0.001)
    row = list(after.id).index("C")
    assert values(after, "semi_major")[row] >= values(after, "semi_minor")[row] > 0.0


def test_levels_hang_together_and_turning_points_are_added_up() -> None:
    first = Levels(where=WHERE, name="one", file="l.csv", unit=M, start="A", close=None)
    second = Levels(where=WHERE, name="two", file="l.csv", unit=M, start="A", close="C")
    one = level_book(
        [
            {"pt": "A", "bs": 1.5},
            {"pt": "TP1", "bs": 1.2, "fs": 1.0, "distance": 100},
            {"pt": "X", "is": 1.1},
            {"pt": "E", "fs": 0.702, "distance": 120},
        ]
    )
    two = rise_book([("A", "E", 1.004), ("E", "C", 1.996)], distance_m=[220, 300])
    known = {"A": (0.0, 0.0, 10.0), "C": (0.0, 0.0, 13.0)}
    measure = network([(first, one), (second, two)], held=None, known=known)
    assert [name for name in measure.id if "rise" in name] == [
        "rise A to E",
        "rise A to E",
        "rise E to C",
    ]
    # By hand: E from A twice, 0.998 and 1.004 over 220 m each, and back from C, 1.004 over 300.
    weights = np.array([1 / 220, 1 / 220, 1 / 300])
    mean = 10 + np.average([0.998, 1.004, 1.004], weights=weights)
    assert at(measure, "E")[2] == pytest.approx(mean, abs=1e-9)
    assert summary(measure)["degrees_of_freedom"] == 2


def vectors(text: str, **more: Any) -> tuple[Vectors, Book]:
    source = Source(path="v.csv", data=text.encode())
    section = Vectors(where=WHERE, name="gps", file="v.csv", unit=M, **more)
    return section, read_vector_book(source, unit=M, columns={})


def test_vectors_and_a_traverse_share_their_stations() -> None:
    rows = [
        f"{one},{other},{AT[other][1] - AT[one][1]},{AT[other][0] - AT[one][0]},"
        f"{AT[other][2] - AT[one][2]}\n"
        for one, other in (("A", "E"), ("E", "C"), ("C", "A"))
    ]
    parts = [*block()[:1], vectors("from,to,dx,dy,dz\n" + "".join(rows))]
    measure = network(parts, held=("A", "Z"))
    assert at(measure, "E") == pytest.approx(AT["E"], abs=1e-6)
    assert at(measure, "C") == pytest.approx(AT["C"], abs=1e-6)


@pytest.mark.parametrize(
    ("change", "slug", "says"),
    [
        ({"held": ("Q",)}, "unknown-control", '"Q"'),
        ({"held": ("C",), "known": {"C": AT["C"]}}, "unknown-control", 'start = "A"'),
        ({"held": ("E",)}, "not-determined", "2 ways (shift or turn)"),
    ],
)
def test_a_net_that_is_not_held_is_refused_in_words(
    change: dict[str, Any], slug: str, says: str
) -> None:
    with pytest.raises(InputError) as caught:
        network(block()[:1], **change)
    (problem,) = caught.value.problems
    assert problem.slug == slug
    assert says in problem.message


def test_a_station_on_too_little_is_named_with_what_it_hangs_on() -> None:
    levels = Levels(where=WHERE, name="one", file="l.csv", unit=M, start=5.0, close=None)
    lost = Levels(where=WHERE, name="lost", file="l.csv", unit=M, start="A", close=None)
    one = rise_book([("P", "Q", 1.0)], distance_m=[100])
    two = rise_book([("A", "R", 1.0)], distance_m=[100])
    measure = network([(levels, one), (lost, two)], held=("A", "P"))
    assert "nothing proves the network" in measure.whole_undecided
    with pytest.raises(InputError) as caught:
        network([(lost, two)], held=("Z",))
    (problem,) = caught.value.problems
    assert problem.slug == "not-determined"
    assert "elevations of A, R are not determined" in problem.message


def test_earth_centred_vectors_are_refused() -> None:
    part = vectors("from,to,dx,dy,dz\nA,E,1,2,3\n", frame=VectorFrame.GEOCENTRIC)
    with pytest.raises(InputError) as caught:
        network([part], held=("A",))
    assert caught.value.problems[0].slug == "vector-frame"


def test_a_free_net_holds_nothing() -> None:
    rng = np.random.default_rng(9)
    parts = block(noisy(RING, rng), noisy(CROSS, rng))[:2]
    free = network(parts, held=())
    held = network(parts, held=("A", "Z"))
    # Z is a station then, sighted but not measured to: its direction counts, its distance does not.
    assert summary(free)["chi2"] == pytest.approx(summary(held)["chi2"], rel=1e-4)
    assert "held" not in list(free.column("mark").values)


# ---------------------------------------------------------------- a traverse by itself


@pytest.mark.parametrize("kind", [AngleKind.RIGHT, AngleKind.LEFT, AngleKind.DEFLECTION])
@pytest.mark.parametrize("way", ["marks", "azimuths", "itself"])
def test_a_traverse_adjusted_by_least_squares_closes(kind: AngleKind, way: str) -> None:
    ring = ["A", "B", "C", "D", "A"]
    back = {"marks": "Z", "azimuths": None, "itself": "D"}[way]
    ahead = "Z" if way == "marks" else None

    def turned(before: str, here: str, after: str) -> float:
        return angle_at(kind, AT[before][:2], AT[here][:2], AT[after][:2], cw=False)

    rows: list[Row] = []
    for index in range(4):
        before = ring[index - 1] if index else back
        angle = NAN if before is None else turned(before, ring[index], ring[index + 1])
        leg = length(AT[ring[index]][:2], AT[ring[index + 1]][:2])
        rows.append((ring[index], ring[index + 1], angle + index * ARCSEC, leg + 0.004 * index))
    more: dict[str, Any] = {"backsight": "Z", "foresight": "Z"}
    if way == "azimuths":
        more = {
            "backsight": None,
            "start_azimuth_rad": direction(AT["A"][:2], AT["B"][:2]),
            "close_azimuth_rad": direction(AT["D"][:2], AT["A"][:2]),
        }
    elif way == "itself":
        more = {"backsight": None, "start_azimuth_rad": direction(AT["A"][:2], AT["D"][:2])}
    if ahead is not None:
        rows.append(("A", "Z", turned("D", "A", "Z"), NAN))
    section = Traverse(
        where=WHERE,
        name="T",
        file="t.csv",
        unit=M,
        shape=Shape.LOOP,
        angles=kind,
        start="A",
        adjust=Adjust.LEAST_SQUARES,
        **more,
    )
    inputs = Inputs(files=(), control=control_points(AT), books={"T": traverse_book(rows)})
    measure = measure_traverse(section, inputs)
    assert values(measure, "adjusted_n")[-1] == pytest.approx(AT["A"][0], abs=1e-8)
    assert values(measure, "adjusted_e")[-1] == pytest.approx(AT["A"][1], abs=1e-8)
    for axis, index in (("n", 0), ("e", 1)):
        found = values(measure, f"adjusted_{axis}")[:3]
        assert found == pytest.approx([AT[name][index] for name in "BCD"], abs=0.02)
    assert any(text.startswith("Least squares") for text in measure.remarks)


def test_a_gross_blunder_does_not_keep_the_closure_from_being_shown() -> None:
    rows = walked(["A", "B", "C", "D", "A"], "Z", "B")
    one, other, angle, _ = rows[1]
    rows[1] = (one, other, angle, 1e7)
    section, book = traverse("ring", rows, adjust=Adjust.LEAST_SQUARES)
    measure = measure_traverse(
        section, Inputs(files=(), control=control_points(AT), books={"ring": book})
    )
    found = {entry.key: entry.value for entry in measure.summary}
    assert float(str(found["misclosure"])) == pytest.approx(1e7, rel=1e-3)
    assert any("least squares" in text.lower() for text in measure.remarks)


def test_a_mark_that_is_only_sighted_is_held_beside_what_the_job_names() -> None:
    measure = network(block()[:1], held=("A",))
    marks = dict(zip(measure.id, measure.column("mark").values, strict=True))
    assert marks["Z"] == marks["A"] == "held"
    assert at(measure, "C")[:2] == pytest.approx(AT["C"][:2], abs=1e-6)
