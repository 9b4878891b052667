"""Slope stakes against the catch points that follow from their own elevations."""

import math
from pathlib import Path

import numpy as np
import pytest

from tests.support.catch import catch_point
from tests.support.lines import CL, ELEMENTS, HEAD, PROFILE, check, faults, row, run, table, write

SECTION = (
    '[[slope_stake]]\nname = "Slopes"\nalignment = "CL"\nhinge = "6 m"\ncut = "1.5:1"\n'
    'fill = "2:1"\ntolerance = { across = "0.1 m" }\n'
)
SHOT = "id,northing,easting,elevation"


def road(
    folder: Path,
    shots: list[tuple[object, ...]],
    section: str = SECTION,
    alignment: str = CL,
    heading: str = SHOT,
) -> Path:
    return write(
        folder,
        HEAD + alignment + section,
        cl_csv=ELEMENTS,
        profile_csv=PROFILE,
        shots_csv=table(heading, shots),
    )


def test_a_stake_is_held_to_the_catch_point_of_its_own_elevation(tmp_path: Path) -> None:
    """At 0+150 the profile is at 52: 2 m of cut reach 3 m out, 1.5 m of fill 3 m as well."""
    found = run(
        road(
            tmp_path,
            [
                ("CL", 5009.0, 2050.0, 54.0),
                ("FR", 4991.0, 2050.0, 50.5),
                ("OUT", 5009.5, 2050.0, 54.0),
                ("FLAT", 5006.0, 2050.0, 52.0),
            ],
        )
    )
    cut = row(found, "Slopes", "CL")
    assert (cut["catch_offset"], cut["across"]) == (pytest.approx(-9.0), pytest.approx(0.0))
    assert (cut["side_slope"], cut["cut_fill"]) == ("cut 1.5:1", "C 2.000")
    assert (cut["station"], cut["offset"]) == (pytest.approx(150.0), pytest.approx(-9.0))
    assert cut["out"] == pytest.approx(3.0)
    fill = row(found, "Slopes", "FR")
    assert (fill["catch_offset"], fill["side_slope"]) == (pytest.approx(9.0), "fill 2:1")
    assert fill["verdict"] == "within"
    out = row(found, "Slopes", "OUT")
    assert (out["verdict"], out["across"]) == ("outside", pytest.approx(-0.5))
    assert row(found, "Slopes", "FLAT")["verdict"] == "within"
    assert check(found, "Slopes")["kind"] == "slope_stake"


def test_hinges_and_crossfall_may_differ_by_side(tmp_path: Path) -> None:
    section = SECTION.replace('"6 m"', '{ left = "6 m", right = "8 m" }')
    alignment = CL + 'crossfall = { left = "-2 %", right = "-4 %" }\n'
    found = run(
        road(
            tmp_path,
            [("L", 5009.0, 2050.0, 53.88), ("R", 4989.0, 2050.0, 53.68)],
            section,
            alignment,
        )
    )
    # hinges at 52 - 0.12 and 52 - 0.32, 2 m of cut
    assert row(found, "Slopes", "L")["across"] == pytest.approx(0.0, abs=1e-9)
    assert row(found, "Slopes", "R")["across"] == pytest.approx(0.0, abs=1e-9)
    assert row(found, "Slopes", "R")["hinge_offset"] == pytest.approx(8.0)


def test_a_stake_at_the_catch_point_of_a_ground_section_is_within(tmp_path: Path) -> None:
    """The section is measured, the catch point found on it, the stake set there."""
    rng = np.random.default_rng(8)
    shots: list[tuple[object, ...]] = []
    for number in range(40):
        side = -1.0 if number % 2 else 1.0
        offset = np.linspace(-60.0, 60.0, 13)
        ground = 52.0 + rng.uniform(-4, 4) + rng.normal(0.0, 0.4, 13)
        catch = catch_point(side * 6.0, 52.0, offset, ground, cut_slope=1.5, fill_slope=2.0)
        shots.append((f"S{number}", 5000.0 - catch.offset_m, 2050.0, catch.elevation_m))
    found = check(run(road(tmp_path, shots)), "Slopes")
    assert {each["verdict"] for each in found["rows"]} == {"within"}
    assert found["summary"]["max_abs_across"] < 1e-9


def test_an_error_in_height_moves_the_catch_point(tmp_path: Path) -> None:
    section = SECTION.replace('"0.1 m" }', '"0.1 m", rule = "guarded" }')
    heading = f"{SHOT},sigma_n,sigma_e,sigma_z"
    found = run(
        road(
            tmp_path,
            [
                ("good", 5009.02, 2050.0, 54.0, 0.01, 0.01, 0.01),
                ("weak", 5009.02, 2050.0, 54.0, 0.01, 0.01, 0.04),
            ],
            section,
            heading=heading,
        )
    )
    # 2 sqrt(0.01² + 0.015²) = 0.036, 2 sqrt(0.01² + 0.06²) = 0.122
    assert row(found, "Slopes", "good")["verdict"] == "within"
    assert row(found, "Slopes", "weak")["verdict"] == "undecided"
    assert math.isclose(row(found, "Slopes", "weak")["across"], -0.02, abs_tol=1e-9)


def test_what_cannot_be_compared_says_why(tmp_path: Path) -> None:
    found = run(road(tmp_path, [("flat", 5009.0, 2050.0, ""), ("off", 5009.0, 1990.0, 54.0)]))
    flat = row(found, "Slopes", "flat")
    assert (flat["verdict"], "no elevation was measured" in flat["reason"]) == ("undecided", True)
    off = row(found, "Slopes", "off")
    assert (off["verdict"], "before the start of CL" in off["reason"]) == ("unchecked", True)


@pytest.mark.parametrize(
    ("old", "new", "slug", "words"),
    [
        ('cut = "1.5:1"', 'cut = "1:1.5"', "bad-value", '"1:1.5" is not a side slope'),
        ('cut = "1.5:1"', "cut = 1.5", "bad-value", "1.5 is not a side slope"),
        ('cut = "1.5:1"\n', "", "missing-key", "has no cut"),
        ('hinge = "6 m"\n', "", "missing-key", "has no hinge"),
        ('hinge = "6 m"', 'hinge = { left = "6 m" }', "missing-key", "has no right"),
        ('hinge = "6 m"', "hinge = -1", "bad-value", "hinge is -1"),
        ('alignment = "CL"\n', "", "missing-key", "has no alignment"),
        ('alignment = "CL"', 'alignment = "XL"', "unknown-alignment", "no [alignment.XL]"),
        ("{ across", "{ vertical", "useless-tolerance", "limits vertical"),
        ('name = "Slopes"', 'nam = "Slopes"', "unknown-key", '"nam"'),
    ],
)
def test_keys_at_fault(tmp_path: Path, old: str, new: str, slug: str, words: str) -> None:
    found = faults(road(tmp_path, [("a", 5009.0, 2050.0, 54.0)], SECTION.replace(old, new)))
    assert any(each[0] == slug and words in each[2] for each in found), found


def test_slope_stakes_need_a_profile(tmp_path: Path) -> None:
    alignment = CL.replace('profile = "profile.csv"\n', "")
    found = faults(road(tmp_path, [("a", 5009.0, 2050.0, 54.0)], SECTION, alignment))
    assert [slug for slug, _, _ in found] == ["no-profile"]
