import numpy as np
import pytest

from checker.geometry.stations import (
    StationError,
    Stationing,
    format_station,
    parse_station,
    stationing,
)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("10+00.00", 1000.0),
        ("10+00", 1000.0),
        ("0+05.5", 5.5),
        ("0+100.000", 100.0),
        ("12+345.678", 12345.678),
        ("1234.5", 1234.5),
        (" 10 + 00.00 ", 1000.0),
        ("-0+50.00", -50.0),
        ("−1+20", -120.0),
        ("+3+10.", 310.0),
        (250, 250.0),
        (250.25, 250.25),
        (".5", 0.5),
    ],
)
def test_reads_stations(text: str | float, value: float) -> None:
    assert parse_station(text) == value


@pytest.mark.parametrize(
    "text", ["", "10+0", "10+0000", "ten", "10+00+00", "10+00,5", "+", "1e3", float("nan")]
)
def test_refuses_what_is_no_station(text: str | float) -> None:
    with pytest.raises(StationError) as caught:
        parse_station(text)
    assert "station" in str(caught.value)


@pytest.mark.parametrize(
    ("value", "digits", "decimals", "text"),
    [
        (1000.0, 2, 2, "10+00.00"),
        (999.999, 2, 2, "10+00.00"),
        (999.994, 2, 2, "9+99.99"),
        (5.0, 2, 0, "0+05"),
        (12345.678, 3, 3, "12+345.678"),
        (0.125, 2, 2, "0+00.13"),
        (-50.0, 2, 2, "-0+50.00"),
        (-0.001, 2, 2, "0+00.00"),
        (float("nan"), 2, 2, ""),
    ],
)
def test_writes_stations(value: float, digits: int, decimals: int, text: str) -> None:
    assert format_station(value, digits=digits, decimals=decimals) == text


def test_refuses_other_digits() -> None:
    with pytest.raises(ValueError, match="2 or 3"):
        format_station(1.0, digits=4)


def test_a_gap_and_an_overlap() -> None:
    # 1000 to 1200 back = 1250 ahead (gap of 50), on to 1400 back = 1350 ahead (overlap of 50).
    stations = stationing(1000.0, [(1200.0, 1250.0), (1400.0, 1350.0)])
    assert stations.breaks_m.tolist() == [200.0, 350.0]
    distance = np.array([-10.0, 0.0, 199.0, 200.0, 300.0, 350.0, 400.0])
    assert stations.station(distance).tolist() == [
        990.0,
        1000.0,
        1199.0,
        1250.0,
        1350.0,
        1350.0,
        1400.0,
    ]
    assert stations.region(distance).tolist() == [0, 0, 0, 1, 1, 2, 2]
    assert stations.equations[0].gap_m == 50.0
    assert stations.distances(1225.0) == ()
    assert stations.distances(1375.0) == (325.0, 375.0)
    assert stations.distances(1100.0) == (100.0,)
    assert stations.distances(990.0) == (-10.0,)
    assert stations.distances(990.0, length_m=500.0) == ()
    assert stations.distances(1600.0, length_m=500.0) == ()
    assert np.isnan(stations.distance(1225.0))
    assert stations.distance([1375.0, 1375.0], [1, 2]).tolist() == [325.0, 375.0]
    assert stations.distance(1375.0) == 325.0
    assert np.isnan(stations.distance(1100.0, 2))


def test_equations_must_follow_each_other() -> None:
    with pytest.raises(StationError, match="equation 2"):
        stationing(0.0, [(100.0, 500.0), (400.0, 0.0)])


def test_plain_stationing_is_distance() -> None:
    assert Stationing().station([0.0, 12.5]).tolist() == [0.0, 12.5]
    assert Stationing().distances(12.5) == (12.5,)


@pytest.mark.parametrize("value", [10**400, -(10**400), float("inf"), float("nan")])
def test_a_number_without_end_is_no_station(value: float) -> None:
    with pytest.raises(StationError, match="is not a finite number"):
        parse_station(value)
