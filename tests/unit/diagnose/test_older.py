"""Stakes that follow an earlier revision which the job gives."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from checker.run import check, document

RNG = np.random.default_rng(8)
NOW = RNG.uniform((5000, 7000, 90), (5200, 7150, 92), (24, 3))


def diagnosed(folder: Path, before: Any, shots: Any) -> list[dict[str, Any]]:
    def write(name: str, at: Any) -> None:
        rows = [f"{i + 1},{n:.4f},{e:.4f},{z:.4f}" for i, (n, e, z) in enumerate(at)]
        text = "id,northing,easting,elevation\n" + "\n".join(rows) + "\n"
        (folder / name).write_text(text, encoding="utf-8")

    write("now.csv", NOW)
    write("before.csv", before)
    write("shots.csv", shots + np.random.default_rng(9).normal(0, 0.006, NOW.shape))
    (folder / "job.toml").write_text(
        '[job]\ntitle = "x"\nunit = "metre"\n[design]\npoints = "now.csv"\n'
        'older = ["before.csv"]\n[measured]\nfiles = ["shots.csv"]\n'
        '[tolerance.t]\nhorizontal = "30 mm"\nvertical = "30 mm"\n'
        '[[stakeout]]\nname = "s"\ntolerance = "t"\n',
        encoding="utf-8",
    )
    found: Any = document(check(folder))["diagnoses"]
    return list(found)


def test_even_two_stakes_are_told_when_the_older_sheet_is_there(tmp_path: Path) -> None:
    before = NOW.copy()
    before[3:9] += (0.4, -0.25, 0.0)
    shots = NOW.copy()
    shots[[4, 7]] = before[[4, 7]]
    found = diagnosed(tmp_path, before, shots)
    assert [each["blunder"] for each in found] == ["stale-revision"]
    assert found[0]["applies_to"]["ids"] == ["5", "8"]
    assert found[0]["parameter"]["dn"] == pytest.approx(0.4)
    assert found[0]["parameter"]["de"] == pytest.approx(-0.25)
    assert "before.csv" in found[0]["says"]


def test_points_that_moved_by_different_vectors(tmp_path: Path) -> None:
    before = NOW.copy()
    before[:8] += np.random.default_rng(2).uniform(-0.8, 0.8, (8, 3))
    shots = NOW.copy()
    shots[:6] = before[:6]
    found = diagnosed(tmp_path, before, shots)
    assert [each["blunder"] for each in found] == ["stale-revision"]
    assert set(found[0]["applies_to"]["ids"]) == {str(i + 1) for i in range(6)}
    assert found[0]["parameter"]["one_vector"] is False


def test_an_older_sheet_that_nobody_followed_says_nothing(tmp_path: Path) -> None:
    before = NOW.copy()
    before[3:9] += (0.4, -0.25, 0.1)
    assert diagnosed(tmp_path, before, NOW) == []


def test_two_faults_of_different_stakes_are_no_rivals(tmp_path: Path) -> None:
    before = NOW.copy()
    before[3] += (0.4, -0.25, 0.0)
    before[12] += (0.0, 0.3, 0.2)
    shots = NOW.copy()
    shots[3] = before[3]
    shots[[18, 19]] = shots[[19, 18]]
    found = diagnosed(tmp_path, before, shots)
    assert {each["blunder"] for each in found} == {"stale-revision", "ids-exchanged"}
    assert all(each["also"] == [] for each in found)
