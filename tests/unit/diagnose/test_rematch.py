"""Stakes matched by place that lie too far off to be matched."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from checker.model.arrays import FloatArray
from checker.run import check, document

RNG = np.random.default_rng(3)
DESIGN = RNG.uniform((201_000, 633_000, 90), (201_300, 633_250, 94), (20, 3))
JOB = (
    '[job]\ntitle = "x"\nunit = "metre"\n[design]\npoints = "d.csv"\n'
    '[measured]\nfiles = ["m.csv"]\n[tolerance.t]\nhorizontal = "30 mm"\n'
    '[[stakeout]]\nname = "s"\nmatch = "nearest"\ntolerance = "t"\n'
)
CHANGES: dict[str, Callable[[FloatArray], FloatArray]] = {
    "axes-swapped": lambda p: p[:, [1, 0, 2]],
    "unit-factor": lambda p: p / 0.3048,
    "dropped-digits": lambda p: p - (200_000, 600_000, 0),
    "shift": lambda p: p - (312.2, -99.3, 0),
    "mirrored": lambda p: p * (1, -1, 1),
}


def diagnosed(folder: Path, measured: FloatArray, names: list[str]) -> list[str]:
    def table(at: FloatArray, ids: list[str]) -> str:
        rows = [f"{i},{n:.4f},{e:.4f},{z:.4f}" for i, (n, e, z) in zip(ids, at, strict=True)]
        return "id,northing,easting,elevation\n" + "\n".join(rows) + "\n"

    (folder / "job.toml").write_text(JOB, encoding="utf-8")
    (folder / "d.csv").write_text(table(DESIGN, [f"D{i}" for i in range(20)]), encoding="utf-8")
    (folder / "m.csv").write_text(table(measured, names), encoding="utf-8")
    found: Any = document(check(folder))["diagnoses"]
    return [each["blunder"] for each in found]


@pytest.mark.parametrize("numbered", [True, False])
@pytest.mark.parametrize("blunder", CHANGES)
def test_a_blunder_of_kilometres_is_named(tmp_path: Path, blunder: str, numbered: bool) -> None:
    shots = CHANGES[blunder](DESIGN + np.random.default_rng(4).normal(0, 0.008, DESIGN.shape))
    order = np.arange(20) if numbered else np.random.default_rng(5).permutation(20)
    names = [f"D{i}" if numbered else f"x{i}" for i in range(20)]
    assert diagnosed(tmp_path, shots[order], names) == [blunder]


def test_what_matches_is_left_alone(tmp_path: Path) -> None:
    shots = DESIGN + np.random.default_rng(4).normal(0, 0.008, DESIGN.shape)
    assert diagnosed(tmp_path, shots, [f"x{i}" for i in range(20)]) == []


def test_other_points_are_not_taken_for_the_stakes(tmp_path: Path) -> None:
    elsewhere = np.random.default_rng(6).uniform((5000, 7000, 90), (5300, 7250, 94), (20, 3))
    assert diagnosed(tmp_path, elsewhere, [f"x{i}" for i in range(20)]) == []
