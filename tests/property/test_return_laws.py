"""Laws of curb returns and of earlier revisions, through whole jobs."""

import math
import tempfile
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.support.shapes import by_id, only_check, write_job

pytestmark = pytest.mark.property
Place = tuple[float, float]


def corner(turn: float) -> tuple[list[Place], list[Place]]:
    """Return four points of two lines that meet at (0, 0), and five places off their arc."""
    radius = 9.0
    tangent = radius * math.tan(abs(turn) / 2.0)
    far = tangent + 30.0
    ahead = (math.cos(turn), math.sin(turn))
    lines = [
        (-far, 0.0),
        (-tangent - 1.0, 0.0),
        (ahead[0] * (tangent + 1.0), ahead[1] * (tangent + 1.0)),
        (ahead[0] * far, ahead[1] * far),
    ]
    side = math.copysign(1.0, turn)
    shots = []
    for number in range(5):
        angle = abs(turn) * number / 4.0
        reach = radius + 0.003 * (number - 1)
        shots.append(
            (
                -tangent + reach * math.sin(angle),
                side * (radius - reach * math.cos(angle)),
            )
        )
    return lines, shots


def outcome(lines: list[Place], shots: list[Place], more: str = "") -> dict[str, Any]:
    places = ", ".join(f"{{ n = {n!r}, e = {e!r} }}" for n, e in lines)
    section = (
        f'[[curb_return]]\nname = "r"\ndesign = {{ tangents = [{places}], radius = 9 }}\n'
        f'tolerance = {{ horizontal = "6 mm", radius = "20 mm" }}\n{more}'
    )
    rows = [f"S{number},{n!r},{e!r}" for number, (n, e) in enumerate(shots)]
    with tempfile.TemporaryDirectory() as folder:
        job = write_job(Path(folder) / "job", section, m_csv="\n".join(["id,n,e", *rows, ""]))
        return only_check(job)


@settings(max_examples=25, deadline=None)
@given(
    turn=st.floats(0.5, 2.6),
    right=st.booleans(),
    heading=st.floats(0.0, 6.28),
    north=st.floats(-5e5, 5e5),
    east=st.floats(-5e5, 5e5),
)
def test_turning_and_moving_a_return_changes_nothing(
    turn: float, right: bool, heading: float, north: float, east: float
) -> None:
    lines, shots = corner(turn if right else -turn)

    def moved(place: Place) -> Place:
        n, e = place
        cos, sin = math.cos(heading), math.sin(heading)
        return north + n * cos - e * sin, east + n * sin + e * cos

    here = outcome(lines, shots)
    there = outcome([moved(each) for each in lines], [moved(each) for each in shots])
    assert here["verdict"] == there["verdict"]
    for key in ("radius", "d_radius", "turn", "length", "centre_off", "gap_begin", "kink_end"):
        assert there["summary"][key] == pytest.approx(here["summary"][key], abs=2e-6)
    ours, theirs = by_id(here), by_id(there)
    for name, row in ours.items():
        for key in ("offset", "along_arc"):
            assert theirs[name][key] == pytest.approx(row[key], abs=1e-7, nan_ok=True)


@settings(max_examples=15, deadline=None)
@given(turn=st.floats(0.5, 2.6), right=st.booleans())
def test_run_the_other_way_sides_and_ends_change_places(turn: float, right: bool) -> None:
    lines, shots = corner(turn if right else -turn)
    one, other = outcome(lines, shots), outcome(lines, shots, "reversed = true\n")
    assert one["verdict"] == other["verdict"]
    assert other["summary"]["radius"] == pytest.approx(one["summary"]["radius"], abs=1e-7)
    assert other["summary"]["turn"] == pytest.approx(-one["summary"]["turn"])
    assert other["summary"]["gap_end"] == pytest.approx(one["summary"]["gap_begin"], abs=1e-7)
    for name, row in by_id(one).items():
        if name.startswith("S"):
            back = by_id(other)[name]
            assert back["offset"] == pytest.approx(-row["offset"], abs=1e-7)
            assert back["along_arc"] == pytest.approx(
                one["summary"]["length"] - row["along_arc"], abs=1e-7
            )
