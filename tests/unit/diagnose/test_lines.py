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


def built(
    folder: Path, shots: Sequence[tuple[object, ...]], own: Sequence[float] | None = None
) -> Document:
    """Return the results of offset stakes; own: of stakes with nothing but such offsets instead."""
    offsets = [4.0] * len(STATIONS) if own is None else own
    stakes = "id,station,offset\n"
    stakes += "".join(f"P{s},0+{s:03d},{off}\n" for s, off in zip(STATIONS, offsets, strict=True))
    return run(
        write(
            folder,
            HEAD + CL + (STAKES if own is None else STAKES.rsplit("stake_offset", 1)[0]),
            cl_csv=ELEMENTS,
            profile_csv=PROFILE,
            stakes_csv=stakes,
            shots_csv=table(SHOT, shots),
        )
    )


def along_the_line(
    folder: Path, across_m: dict[int, float], own: Sequence[float] | None = None
) -> Document:
    """Return the results with stakes set so far right of where they should stand."""
    names = [f"P{s}" for s in STATIONS]
    first = check(built(folder, [(name, 0.0, 0.0, 50.0) for name in names], own), "Stakes")
    design = [(row["design_n"], row["design_e"], row["design_z"]) for row in first["rows"]]
    # One metre north of every design point its along and across are the line's azimuth there.
    north = [(name, n + 1.0, e, z) for name, (n, e, z) in zip(names, design, strict=True)]
    told = check(built(folder, north, own), "Stakes")["rows"]
    noise = np.random.default_rng(4).normal(0, 0.004, (len(names), 3))
    shots = []
    for place, (name, (n, e, z)) in enumerate(zip(names, design, strict=True)):
        right = (told[place]["across"], told[place]["along"])
        off = across_m.get(place, 0.0)
        shift = np.array((n + off * right[0], e + off * right[1], z)) + noise[place]
        shots.append((name, *shift.tolist()))
    return built(folder, shots, own)


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


@pytest.mark.parametrize("offsets", [(5.0,), (-3.0, 4.0, 6.0)], ids=["one", "several"])
@pytest.mark.parametrize("all_of_them", [True, False], ids=["all", "some"])
def test_stakes_with_an_offset_of_their_own_on_the_other_side(
    tmp_path: Path, offsets: tuple[float, ...], all_of_them: bool
) -> None:
    # The table gives station and offset; nothing else says that a stake is an offset stake.
    own = [offsets[place % len(offsets)] for place in range(len(STATIONS))]
    wrong = range(len(STATIONS)) if all_of_them else (3, 4, 8)
    found = along_the_line(tmp_path, {i: -2.0 * own[i] for i in wrong}, own)["diagnoses"]
    assert [each["blunder"] for each in found] == ["wrong-side"]
    assert found[0]["also"] == []
    assert found[0]["parameter"]["across"] == pytest.approx(-2.0 * own[wrong[0]], abs=1e-6)
    assert ("one_offset" in found[0]["parameter"]) == (len({own[i] for i in wrong}) > 1)
    named = [] if all_of_them else [f"P{STATIONS[i]}" for i in wrong]
    assert found[0]["applies_to"]["ids"] == named


def test_stakes_on_the_line_have_no_other_side(tmp_path: Path) -> None:
    on_it = [0.02] * len(STATIONS)
    found = along_the_line(tmp_path, dict.fromkeys(range(len(STATIONS)), 0.152), on_it)
    assert [each["blunder"] for each in found["diagnoses"]] == ["wrong-line"]
