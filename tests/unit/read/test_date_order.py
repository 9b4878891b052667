"""Dates that end with the year: the column itself must tell the day from the month."""

import numpy as np
import pytest

from checker.errors import InputError
from checker.read.files import Source
from checker.read.points import read_points
from checker.units import LengthUnit


def times(stamps: list[str], heading: str = "time") -> tuple[list[str], set[str]]:
    rows = "".join(f"{number},1,2,3,{stamp}\n" for number, stamp in enumerate(stamps))
    text = f"id,northing,easting,elevation,{heading}\n{rows}"
    source = Source(path="m.csv", data=text.encode())
    points, notices = read_points(
        [source], unit=LengthUnit.METRE, columns={}, role="as-measured", unique=False
    )
    assert points.quality.time is not None
    found = np.datetime_as_string(points.quality.time, unit="m").tolist()
    return found, {notice.slug for notice in notices}


@pytest.mark.parametrize(
    ("stamps", "expected"),
    [
        # a day beyond the 12th in one row tells the order of all
        (["17/04/2031 10:15", "03/05/2031 08:00"], ["2031-04-17T10:15", "2031-05-03T08:00"]),
        (["04/17/2031 10:15", "05/03/2031 08:00"], ["2031-04-17T10:15", "2031-05-03T08:00"]),
        (["4-17-2031 10:15:30", ""], ["2031-04-17T10:15", "NaT"]),
        # points stand where the day comes first
        (["06.05.2031 08:00", "07.05.2031 09:30"], ["2031-05-06T08:00", "2031-05-07T09:30"]),
        (["05.17.2031 08:00"], ["2031-05-17T08:00"]),
    ],
)
def test_the_column_tells_the_order(stamps: list[str], expected: list[str]) -> None:
    found, slugs = times(stamps)
    assert found == expected
    assert "date-order" in slugs


def test_a_date_and_a_time_in_two_columns() -> None:
    found, slugs = times(["17/04/2031,10:15", "03/05/2031,08:00"], "date,time")
    assert found == ["2031-04-17T10:15", "2031-05-03T08:00"]
    assert "date-order" in slugs


@pytest.mark.parametrize(
    "stamps",
    [
        ["03/04/2031 10:15"],
        ["17/04/2031 10:15", "04/17/2031 10:15"],  # both orders in one column
        ["31.31.2031 10:15"],
    ],
)
def test_what_the_column_does_not_tell_is_refused(stamps: list[str]) -> None:
    with pytest.raises(InputError) as caught:
        times(stamps)
    assert {problem.slug for problem in caught.value.problems} == {"bad-time"}


def test_the_year_first_is_left_alone() -> None:
    found, slugs = times(["2031-04-17T10:15:00Z", "2031-05-03T08:00:00Z"])
    assert found == ["2031-04-17T10:15", "2031-05-03T08:00"]
    assert "date-order" not in slugs
