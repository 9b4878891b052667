import math

import numpy as np
import pytest

from checker.errors import InputError
from checker.model.books import SightBook
from checker.model.drawing import Notice
from checker.read.files import Source
from checker.read.sights import read_sight_book
from checker.units import ARCSEC, AngleFormat, LengthUnit


def read(
    text: str,
    *,
    unit: LengthUnit = LengthUnit.METRE,
    form: AngleFormat = AngleFormat.SEXAGESIMAL,
    notices: list[Notice] | None = None,
    **columns: str,
) -> SightBook:
    source = Source(path="sights.csv", data=text.encode())
    return read_sight_book(source, unit=unit, angle_format=form, columns=columns, notices=notices)


def faults(text: str, **more: object) -> list[tuple[str, int | None]]:
    with pytest.raises(InputError) as caught:
        read(text, **more)  # type: ignore[arg-type]
    return [(problem.slug, problem.where.line) for problem in caught.value.problems]


def test_one_row_may_hold_several_observations() -> None:
    book = read(
        "Station;Set;Target;Circle reading;Slope distance;Zenith\n"
        "A;1;B;10-00-00;100,00;90-00-00\nA;1;C;100-30-00;50,00;60-00-00\n"
    )
    assert list(book.round) == ["1", "1"]
    assert book.direction_rad == pytest.approx(np.radians([10.0, 100.5]))
    assert book.slope_m * np.sin(book.zenith_rad) == pytest.approx(
        [100.0, 50 * math.sin(math.pi / 3)]
    )
    assert np.isnan(book.distance_m).all()


def test_in_a_table_of_rises_alone_the_distance_is_the_line() -> None:
    book = read("from,to,rise,distance (km)\nA,B,1.25,0.8\n", unit=LengthUnit.FOOT)
    assert book.rise_m == pytest.approx([1.25 * 0.3048])
    assert book.length_m == pytest.approx([800.0])
    assert np.isnan(book.distance_m).all()


def test_beside_angles_a_distance_is_an_observation() -> None:
    book = read("at,back,to,angle,distance,rise,length\nA,B,C,90-00-00,10,1,12\n")
    assert (book.distance_m[0], book.rise_m[0], book.length_m[0]) == (10.0, 1.0, 12.0)


@pytest.mark.parametrize(
    ("form", "cell", "size"),
    [
        (AngleFormat.SEXAGESIMAL, "5", 5 * ARCSEC),
        (AngleFormat.SEXAGESIMAL, "0.1 arcmin", 6 * ARCSEC),
        (AngleFormat.GON, "0.6", 0.6e-3 * math.pi / 200),
        (AngleFormat.RADIANS, "1e-5", 1e-5),
    ],
)
def test_a_row_states_its_own_precision(form: AngleFormat, cell: str, size: float) -> None:
    book = read(f"at,to,direction,sd direction\nA,B,1.5,{cell}\n", form=form)
    assert book.sigma_direction_rad == pytest.approx([size])


def test_lengths_of_precision_may_have_a_unit_of_their_own() -> None:
    book = read("at,to,distance,sigma distance (mm)\nA,B,100,3\n", unit=LengthUnit.FOOT)
    assert book.sigma_distance_m == pytest.approx([0.003])
    assert book.distance_m == pytest.approx([30.48])


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("at,to,distance\nA,B,0\nB,C,-4\n", [("not-positive", 2), ("not-positive", 3)]),
        ("at,to,distance\nA,A,10\n", [("same-station", 2)]),
        ("at,back,to,angle\nA,B,B,10-00-00\n", [("same-station", 2)]),
        ("at,to,angle\nA,B,10-00-00\n", [("missing-value", 2)]),
        ("at,to,distance\nA,B,\n", [("missing-value", 2)]),
        ("at,to,distance\nA,,5\n", [("missing-value", 2)]),
        ("at,to,direction\nA,B,361-00-00\n", [("bad-angle", 2)]),
        ("at,to,direction\nA,B,N 10-00-00 E\n", [("bad-angle", 2)]),
        ("at,to,azimuth,bearing\nA,B,10,N 10 E\n", [("two-directions", 2)]),
        ("at,to,distance,slope distance,zenith\nA,B,10,11,88\n", [("two-distances", 2)]),
        ("at,to,slope distance,zenith\nA,B,10,\n", [("missing-value", 2)]),
        ("at,to,slope distance,zenith\nA,B,10,181\n", [("bad-angle", 2)]),
        ("at,to,direction,sigma direction\nA,B,10,0\n", [("bad-value", 2)]),
        ("at,to,direction (gon)\nA,B,10\n", [("unit-contradiction", 1)]),
        ("to,distance\nB,10\n", [("missing-column", 1)]),
    ],
)
def test_faults_name_their_row(text: str, expected: list[tuple[str, int | None]]) -> None:
    assert faults(text) == expected


def test_unused_columns_are_said() -> None:
    notices: list[Notice] = []
    read("at,to,distance,weather\nA,B,10,rain\n", notices=notices)
    assert [notice.slug for notice in notices] == ["unused-columns"]
