"""Stakes along an alignment: another line or face, the other side."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from tests.support.lines import CL, ELEMENTS, HEAD, PROFILE, Document, check, run, table, write

SHOT = "id,northing,easting,elevation"
STATIONS = tuple(range(110, 410, 20))
STAKES = (
    '[[stakeout]]\nname = "Stakes"\nalignment = "CL"\nmatch = "station"\n'
    'design = { stakes = "stakes.csv" }\ntolerance = "t"\n'
    'stake_offset = { offset = "3 m", side = "right" }\n'
)


def built(folder: Path, shots: Sequence[tuple[object, ...]]) -> Document:
    stakes = "id,station,offset\n" + "".join(f"P{s},0+{s:03d},4\n" for s in STATIONS)
    return run(
        write(
            folder,
            HEAD + CL + STAKES,
            cl_csv=ELEMENTS,
            profile_csv=PROFILE,
            stakes_csv=stakes,
            shots_csv=table(SHOT, shots),
        )
    )


def along_the_line(folder: Path, across_m: dict[int, float]) -> Document:
    """Return the results with stakes set so far right of where they should stand."""
    names = [f"P{s}" for s in STATIONS]
    first = check(built(folder, [(name, 0.0, 0.0, 50.0) for name in names]), "Stakes")
    design = [(row["design_n"], row["design_e"], row["design_z"]) for row in first["rows"]]
    # One metre north of every design point its along and across are the line's azimuth there.
    north = [(name, n + 1.0, e, z) for name, (n, e, z) in zip(names, design, strict=True)]
    told = check(built(folder, north), "Stakes")["rows"]
    noise = np.random.default_rng(4).normal(0, 0.004, (len(names), 3))
    shots = []
    for place, (name, (n, e, z)) in enumerate(zip(names, design, strict=True)):
        right = (told[place]["across"], told[place]["along"])
        off = across_m.get(place, 0.0)
        shift = np.array((n + off * right[0], e + off * right[1], z)) + noise[place]
        shots.append((name, *shift.tolist()))
    return built(folder, shots)


def test_a_constant_across_a_curved_line(tmp_path: Path) -> None:
    found = along_the_line(tmp_path, dict.fromkeys(range(len(STATIONS)), 0.152))["diagnoses"]
    assert [each["blunder"] for each in found] == ["wrong-line"]
    assert found[0]["parameter"]["across"] == pytest.approx(0.152, abs=0.01)


def test_all_on_the_other_side(tmp_path: Path) -> None:
    found = along_the_line(tmp_path, dict.fromkeys(range(len(STATIONS)), -6.0))["diagnoses"]
    assert [each["blunder"] for each in found] == ["wrong-side"]
    assert found[0]["parameter"]["across"] == pytest.approx(-6.0)


def test_one_on_the_other_side(tmp_path: Path) -> None:
    found = along_the_line(tmp_path, {5: -6.0})["diagnoses"]
    assert [each["blunder"] for each in found] == ["wrong-side"]
    assert found[0]["applies_to"]["ids"] == [f"P{STATIONS[5]}"]


def test_stakes_that_stand_well_say_nothing(tmp_path: Path) -> None:
    assert along_the_line(tmp_path, {})["diagnoses"] == []
