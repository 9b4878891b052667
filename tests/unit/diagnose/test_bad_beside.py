"""A blunder that befell stakes which are badly set as well; and a block that is mirrored."""

from pathlib import Path
from typing import Any

import numpy as np

from checker.model.arrays import FloatArray
from checker.run import check, document

DESIGN = np.random.default_rng(12).uniform((20_400, 48_800, 80), (20_600, 48_950, 83), (16, 3))
JOB = (
    '[job]\ntitle = "x"\nunit = "metre"\n[design]\npoints = "d.csv"\n'
    '[measured]\nfiles = ["m.csv"]\n[tolerance.t]\nhorizontal = "25 mm"\nvertical = "30 mm"\n'
    '[[stakeout]]\nname = "s"\ntolerance = "t"\n'
)


def shots() -> FloatArray:
    return DESIGN + np.random.default_rng(13).normal(0.0, (0.006, 0.006, 0.01), DESIGN.shape)


def diagnosed(folder: Path, measured: FloatArray) -> Any:
    def table(at: FloatArray) -> str:
        rows = [f"{i},{n:.3f},{e:.3f},{z:.3f}" for i, (n, e, z) in enumerate(at.tolist(), 1)]
        return "id,northing,easting,elevation\n" + "\n".join(rows) + "\n"

    (folder / "job.toml").write_text(JOB, encoding="utf-8")
    (folder / "d.csv").write_text(table(DESIGN), encoding="utf-8")
    (folder / "m.csv").write_text(table(measured), encoding="utf-8")
    return document(check(folder))["diagnoses"]


def test_numbers_exchanged_though_one_of_the_stakes_is_badly_set(tmp_path: Path) -> None:
    measured = shots()
    measured[[3, 8]] = measured[[8, 3]]
    measured[3] += (0.21, -0.14, 0.3)
    found = diagnosed(tmp_path, measured)
    assert [each["blunder"] for each in found] == ["ids-exchanged"]
    assert set(found[0]["applies_to"]["ids"]) == {"4", "9"}


def test_stakes_that_only_stand_wide_are_not_taken_for_exchanged_ones(tmp_path: Path) -> None:
    measured = shots()
    between = DESIGN[8, :2] - DESIGN[3, :2]
    measured[3, :2] += 0.8 * between
    measured[8, :2] -= 0.8 * between
    assert diagnosed(tmp_path, measured) == []


def test_exchanged_digits_of_a_stake_that_is_badly_set(tmp_path: Path) -> None:
    measured = shots()
    measured[5] += (0.02, -0.31, 0.42)
    text = f"{measured[5, 0]:.3f}"
    measured[5, 0] = float(text[1] + text[0] + text[2:])  # 20… written as 02…
    found = diagnosed(tmp_path, measured)
    assert [each["blunder"] for each in found] == ["transposed-digits"]
    assert found[0]["parameter"]["difference"] == -18_000.0
    assert found[0]["applies_to"]["ids"] == ["6"]


def test_many_badly_set_stakes_hold_no_exchanged_digits(tmp_path: Path) -> None:
    measured = shots()
    wide = np.random.default_rng(14).uniform(-1.2, 1.2, (6, 1))
    measured[:6, :1] += wide
    assert diagnosed(tmp_path, measured) == []
