"""Marks shot again in another session, and nothing else to compare."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from checker.run import check, document

MARKS = np.random.default_rng(4).uniform((5000, 7000, 90), (5200, 7150, 92), (12, 3))


def diagnosed(folder: Path, step: tuple[float, float, float]) -> list[dict[str, Any]]:
    rows = ["id,northing,easting,elevation,session,time"]
    rng = np.random.default_rng(11)
    for session, move in (("am", (0.0, 0.0, 0.0)), ("pm", step)):
        shots = MARKS + move + rng.normal(0, (0.007, 0.007, 0.011), MARKS.shape)
        hour = 8 if session == "am" else 14
        rows += [
            f"M{i},{n:.4f},{e:.4f},{z:.4f},{session},2031-04-17T{hour:02d}:{i:02d}:00Z"
            for i, (n, e, z) in enumerate(shots.tolist())
        ]
    (folder / "shots.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    (folder / "job.toml").write_text(
        '[job]\ntitle = "x"\nunit = "metre"\n[measured]\nfiles = ["shots.csv"]\n'
        '[[repeats]]\nname = "r"\napart = "4 h"\ntolerance = { horizontal = "30 mm" }\n',
        encoding="utf-8",
    )
    found: Any = document(check(folder))["diagnoses"]
    return list(found)


def test_a_session_that_steps_against_the_first(tmp_path: Path) -> None:
    found = diagnosed(tmp_path, (0.15, -0.22, 0.0))
    assert [each["blunder"] for each in found] == ["base-moved"]
    assert (found[0]["applies_to"]["by"], found[0]["applies_to"]["group"]) == ("session", "pm")
    assert found[0]["parameter"]["dn"] == pytest.approx(0.15, abs=0.02)
    assert "a third would show which of the two is right" in found[0]["says"]


def test_another_pole_in_the_afternoon(tmp_path: Path) -> None:
    found = diagnosed(tmp_path, (0.0, 0.0, 0.2))
    assert [each["blunder"] for each in found] == ["pole-height"]
    assert found[0]["parameter"]["dz"] == pytest.approx(0.2)


def test_repeats_that_agree_say_nothing(tmp_path: Path) -> None:
    assert diagnosed(tmp_path, (0.0, 0.0, 0.0)) == []
