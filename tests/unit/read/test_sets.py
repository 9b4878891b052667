"""Legs measured in sets: consecutive rows from the same station to the same station."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checker.errors import InputError
from checker.model.books import TraverseBook
from checker.model.job import AngleKind
from checker.read.files import Source
from checker.read.traverse_book import read_traverse_book
from checker.units import ARCSEC, AngleFormat, LengthUnit, parse_angle


def book(
    text: str,
    *,
    angles: AngleKind = AngleKind.RIGHT,
    unit: LengthUnit = LengthUnit.METRE,
    angle_format: AngleFormat = AngleFormat.SEXAGESIMAL,
) -> TraverseBook:
    return read_traverse_book(
        Source(path="t.csv", data=text.encode()),
        unit=unit,
        angles=angles,
        angle_format=angle_format,
        columns={},
    )


def test_sets_are_meaned_about_the_first() -> None:
    found = book(
        "at,to,angle,distance\n"
        "A,B,359-59-58,100.00\nA,B,0-00-04,100.02\nB,C,90-00-00,50.0\n"
        "C,A,200-00-00,70\nC,A,200-00-10,\n"
    )
    assert found.at.tolist() == ["A", "B", "C"]
    assert found.angle_rad[0] == pytest.approx(1.0 * ARCSEC)
    assert found.angle_rad[2] == pytest.approx(parse_angle("200-00-05"))
    assert found.distance_m.tolist() == pytest.approx([100.01, 50.0, 70.0])
    assert found.line.tolist() == [2, 4, 5]
    assert found.sets is not None
    assert found.sets.row.tolist() == [0, 0, 2, 2]
    assert found.sets.line.tolist() == [2, 3, 5, 6]
    assert np.isnan(found.sets.distance_m[3])


def test_a_closing_row_may_be_repeated() -> None:
    found = book(
        "at,to,angle,distance\nA,B,10-00-00,100\nB,A,20-00-00,100\n"
        "A,M,30-00-00,\nA,M,30-00-02,\nA,M,30-00-04,\n"
    )
    assert len(found) == 3
    assert np.isnan(found.distance_m[2])
    assert found.angle_rad[2] == pytest.approx(parse_angle("30-00-02"))


def test_deflections_left_keep_their_sign() -> None:
    found = book(
        "at,to,angle,distance\nA,B,12-30-00 L,100\nA,B,12-30-04 L,100\n",
        angles=AngleKind.DEFLECTION,
    )
    assert found.angle_rad[0] == pytest.approx(-parse_angle("12-30-02"))


def test_both_faces_free_the_zenith_angle_of_the_index_error() -> None:
    found = book(
        "back,at,to,face,angle,slope,zenith,hi,ht\n"
        ",A,B,L,10-00-00,100,85-00-10,1.5,1.7\n,A,B,R,10-00-02,100,274-59-58,1.5,1.7\n"
    )
    assert found.zenith_rad[0] == pytest.approx(parse_angle("85-00-06"))
    assert found.slope_m[0] == pytest.approx(100.0, abs=1e-7)
    assert found.sets is not None
    assert found.sets.face.tolist() == [1, 2]


def test_sets_with_another_target_height_count_right() -> None:
    """The same rise of 10 m measured to a target of 1.5 and to one of 2.0."""
    rows = []
    for target in (1.5, 2.0):
        rise = 10.0 - 1.6 + target
        zenith, slope = math.degrees(math.atan2(100.0, rise)), math.hypot(100.0, rise)
        rows.append(f"A,B,10.0,{slope:.9f},{zenith:.10f},1.6,{target}")
    found = book("at,to,angle,slope,zenith,hi,ht\n" + "\n".join(rows) + "\n")
    dz = found.slope_m * np.cos(found.zenith_rad) + found.hi_m - found.ht_m
    assert dz.tolist() == pytest.approx([10.0], abs=1e-7)
    assert (found.slope_m * np.sin(found.zenith_rad)).tolist() == pytest.approx([100.0], abs=1e-7)


@pytest.mark.parametrize("word", ["2", "II", "R", "face right", "Reverse"])
def test_an_azimuth_of_face_two_is_half_a_turn_off(word: str) -> None:
    found = book(
        f"at,to,face,azimuth,distance\nA,B,1,350-00-00,100\nA,B,{word},170-00-04,100\n",
        angles=AngleKind.AZIMUTH,
    )
    assert found.angle_rad[0] == pytest.approx(parse_angle("350-00-02"))


def test_the_back_station_must_be_the_one_the_line_came_from() -> None:
    good = "back,at,to,angle,distance\nM,A,B,10-00-00,100\nA,B,C,20-00-00,100\n"
    assert book(good).back == ("M", "A")
    with pytest.raises(InputError, match='turned from "M"'):
        book(good.replace("\nA,B,C", "\nM,B,C"))


def test_a_lone_face_two_zenith_is_read_where_its_face_is_said() -> None:
    rows = "at,to,face,angle,slope,zenith\nA,B,{},10-00-00,100,274-59-58\n"
    assert book(rows.format("2")).zenith_rad[0] == pytest.approx(parse_angle("85-00-02"))
    with pytest.raises(InputError) as caught:
        book(rows.format(""))
    assert [problem.slug for problem in caught.value.problems] == ["face-two"]


@settings(max_examples=60)
@given(
    st.lists(st.floats(-60.0, 60.0), min_size=2, max_size=6),
    st.lists(st.floats(-0.05, 0.05), min_size=2, max_size=6),
    st.floats(0.0, 359.99),
)
def test_the_mean_of_any_sets_is_the_mean(
    seconds: list[float], off: list[float], angle: float
) -> None:
    count = min(len(seconds), len(off))
    rows = [
        f"A,B,{(angle + seconds[k] / 3600.0) % 360.0:.12f},{250.0 + off[k]:.9f}"
        for k in range(count)
    ]
    found = book("at,to,angle,distance\n" + "\n".join(rows) + "\n")
    expected = math.radians(angle) + float(np.mean(seconds[:count])) * ARCSEC
    turned = math.remainder(found.angle_rad[0] - expected, math.tau)
    assert turned == pytest.approx(0.0, abs=1e-3 * ARCSEC)
    assert found.distance_m[0] == pytest.approx(250.0 + float(np.mean(off[:count])), abs=1e-7)
