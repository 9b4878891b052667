"""Relative checks, accuracy tests, surfaces and drawn lines as evidence; shots count once."""

from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from ezdxf.document import Drawing
from ezdxf.filemanagement import new

from checker.model.arrays import FloatArray
from checker.run import check, document

HEAD = '[job]\ntitle = "x"\nunit = "metre"\n[measured]\nfiles = ["m.csv"]\n'
LIMITS = (
    '[tolerance.t]\nhorizontal = "15 mm"\nvertical = "20 mm"\n'
    'distance = "20 mm"\nelevation = "40 mm"\n'
)
STAKEOUT = '[[stakeout]]\nname = "s"\ntolerance = "t"\n'
PLACES = np.random.default_rng(5).uniform((5000, 7000, 50), (5060, 7080, 52), (14, 3))
MARKS = np.random.default_rng(6).uniform((5000, 7000, 50), (5300, 7300, 52), (24, 3))


def table(at: FloatArray, letter: str) -> str:
    rows = [f"{letter}{i},{n:.4f},{e:.4f},{z:.4f}" for i, (n, e, z) in enumerate(at.tolist())]
    return "id,northing,easting,elevation\n" + "\n".join(rows) + "\n"


def noise(rows: int, sigma: float = 0.004) -> FloatArray:
    scale = np.array((sigma, sigma, 1.6 * sigma))
    return np.asarray(np.random.default_rng(7).normal(0.0, 1.0, (rows, 3)) * scale)


def results(folder: Path, job: str, **files: str) -> Any:
    for name, text in files.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    (folder / "job.toml").write_text(job, encoding="utf-8")
    return document(check(folder))


def staked(folder: Path, sections: str, off: FloatArray) -> Any:
    job = HEAD + '[design]\npoints = "d.csv"\n' + LIMITS + sections
    shots = PLACES + noise(len(PLACES)) + off
    return results(folder, job, d=table(PLACES, "B"), m=table(shots, "B"))


def relative(*names: str) -> str:
    ids = ", ".join(f'"{name}"' for name in names)
    return f'[[relative]]\nname = "Bolts"\ntolerance = "t"\ngroup = {{ id = [{ids}] }}\n'


def of_rows(count: int, *vector: float) -> FloatArray:
    off = np.zeros((len(PLACES), 3))
    off[:count] = vector
    return off


def test_a_relative_check_alone_shows_a_shift_and_that_the_shape_holds(tmp_path: Path) -> None:
    found = staked(tmp_path, relative("B*"), of_rows(len(PLACES), 0.08, -0.05, 0.0))["diagnoses"]
    assert [each["blunder"] for each in found] == ["shift"]
    assert found[0]["parameter"]["dn"] == pytest.approx(0.08, abs=0.012)
    assert found[0]["applies_to"]["check"] == "Bolts"
    assert "The distances within Bolts hold" in found[0]["says"]


@pytest.mark.parametrize("count", [3, 4])
def test_a_group_that_was_set_as_a_whole(tmp_path: Path, count: int) -> None:
    names = [f"B{i}" for i in range(count)]
    found = staked(tmp_path, relative(*names) + STAKEOUT, of_rows(count, 0.06, 0.03, 0.0))
    assert [each["blunder"] for each in found["diagnoses"]] == ["stale-revision"]
    where = found["diagnoses"][0]["applies_to"]
    assert (where["check"], where["by"], where["ids"]) == ("Bolts", "all", names)
    assert "The distances within Bolts hold" in found["diagnoses"][0]["says"]


def test_a_group_whose_shape_is_off_is_not_said_to_hold(tmp_path: Path) -> None:
    off = of_rows(len(PLACES), 0.08, -0.05, 0.0)
    off[1] += (0.1, 0.1, 0.0)
    found = staked(tmp_path, relative("B*"), off)["diagnoses"]
    assert [each["blunder"] for each in found] == ["shift"]
    assert "hold" not in found[0]["says"]


def test_a_group_that_stands_well_says_nothing(tmp_path: Path) -> None:
    sections = relative("B0", "B1", "B2") + STAKEOUT
    assert staked(tmp_path, sections, of_rows(0, 0.0, 0.0, 0.0))["diagnoses"] == []


def test_shots_count_once_however_many_checks_use_them(tmp_path: Path) -> None:
    off = of_rows(len(PLACES), 0.0, 0.0, -0.2)
    found = staked(tmp_path, relative("B*") + STAKEOUT, off)["diagnoses"]
    assert [each["blunder"] for each in found] == ["pole-height"]
    assert found[0]["support"]["points"] == len(PLACES)


ACCURACY = '[[accuracy]]\nname = "Test"\nfile = "k.csv"\ntolerance = "t"\n'


def of_marks(folder: Path, off: FloatArray, sigma: float, more: str) -> Any:
    shots = MARKS + noise(len(MARKS), sigma) + off
    job = HEAD + LIMITS + more
    return results(folder, job, k=table(MARKS, "K"), m=table(shots, "K"))


@pytest.mark.parametrize(
    ("dz", "blunder"), [(-0.2, "pole-height"), (-0.31, "height-constant"), (-31.2, "geoid-missing")]
)
def test_check_points_show_a_bias(tmp_path: Path, dz: float, blunder: str) -> None:
    found = of_marks(tmp_path, np.array((0.0, 0.0, dz)), 0.02, ACCURACY)["diagnoses"]
    assert [each["blunder"] for each in found] == [blunder]
    assert found[0]["parameter"]["dz"] == pytest.approx(dz, abs=0.04)
    assert "Only known marks were measured" in found[0]["says"]


def test_a_rough_test_or_one_bad_check_point_says_nothing(tmp_path: Path) -> None:
    off = np.zeros((len(MARKS), 3))
    assert of_marks(tmp_path, off, 0.06, ACCURACY)["diagnoses"] == []
    off[5] = (0.4, 0.2, -0.5)
    assert of_marks(tmp_path, off, 0.02, ACCURACY)["diagnoses"] == []


def test_check_points_that_are_the_control_count_once(tmp_path: Path) -> None:
    more = '[control]\nfile = "k.csv"\ntolerance = "t"\n'
    more += ACCURACY.replace('file = "k.csv"', 'against = "control"')
    found = of_marks(tmp_path, np.array((0.0, 0.0, -0.2)), 0.01, more)["diagnoses"]
    assert [each["blunder"] for each in found] == ["pole-height"]
    assert found[0]["support"]["points"] == len(MARKS)


def test_check_points_prove_the_measuring_beside_stakes(tmp_path: Path) -> None:
    shots = np.vstack((PLACES + noise(14), MARKS + noise(24))) + np.array((0.0, 0.0, -0.2))
    names = [*(f"B{i}" for i in range(14)), *(f"K{i}" for i in range(24))]
    rows = [f"{i},{n:.4f},{e:.4f},{z:.4f}" for i, (n, e, z) in zip(names, shots, strict=True)]
    job = HEAD + '[design]\npoints = "d.csv"\n' + LIMITS
    job += STAKEOUT + 'measured = { id = "B*" }\n' + ACCURACY + 'measured = { id = "K*" }\n'
    files = {"d": table(PLACES, "B"), "k": table(MARKS, "K")}
    text = "id,northing,easting,elevation\n" + "\n".join(rows) + "\n"
    found = results(tmp_path, job, m=text, **files)["diagnoses"]
    assert [each["blunder"] for each in found] == ["pole-height"]
    assert "The check shots show it too" in found[0]["says"]


# ---------------------------------------------------------------- surfaces and lines


def metric_drawing() -> Drawing:
    drawing = new("R2010")
    drawing.header["$INSUNITS"] = 6
    return drawing


def surface(folder: Path, dz: FloatArray | float) -> list[str]:
    drawing = metric_drawing()
    space = drawing.modelspace()
    for e in range(7000, 7100, 20):
        for n in range(5000, 5100, 20):
            a, b, c, d = (
                (x, y, 50.0 + 0.02 * (x - 7000.0))
                for x, y in ((e, n), (e + 20, n), (e + 20, n + 20), (e, n + 20))
            )
            space.add_3dface((a, b, c, c), dxfattribs={"layer": "PAD"})
            space.add_3dface((a, c, d, d), dxfattribs={"layer": "PAD"})
    drawing.saveas(folder / "plan.dxf")
    at = np.random.default_rng(8).uniform((5003, 7003, 0), (5097, 7097, 0), (30, 3))
    at[:, 2] = 50.0 + 0.02 * (at[:, 1] - 7000.0) + noise(30)[:, 2] + dz
    job = HEAD + '[design]\ndrawing = "plan.dxf"\n[tolerance.t]\nvertical = "25 mm"\n'
    job += '[[surface]]\nname = "Pad"\ndesign = { layer = "PAD" }\ntolerance = "t"\n'
    return [each["blunder"] for each in results(folder, job, m=table(at, "G"))["diagnoses"]]


def test_shots_on_a_surface_show_a_pole_and_a_constant(tmp_path: Path) -> None:
    assert surface(tmp_path, 0.0) == []
    assert surface(tmp_path, -0.2) == ["pole-height"]
    assert surface(tmp_path, 0.11) == ["height-constant"]


def test_a_surface_that_is_being_graded_says_nothing(tmp_path: Path) -> None:
    assert surface(tmp_path, np.random.default_rng(9).normal(-0.3, 0.25, 30)) == []


def curb(folder: Path, across: float, dz: float, *, levels: bool = True) -> Any:
    corners = np.array(((5000.0, 7000.0, 50.0), (5030.0, 7060.0, 51.0), (5080.0, 7100.0, 52.0)))
    drawing = metric_drawing()
    attributes = {"layer": "CURB"}
    points = [(e, n, z) for n, e, z in corners.tolist()]
    if levels:
        drawing.modelspace().add_polyline3d(points, dxfattribs=attributes)
    else:
        drawing.modelspace().add_lwpolyline([p[:2] for p in points], dxfattribs=attributes)
    drawing.saveas(folder / "plan.dxf")
    shots = []
    for start, end in pairwise(corners):
        way = (end - start)[:2] / np.hypot(*(end - start)[:2])
        for part in np.linspace(0.05, 0.95, 12).tolist():
            right = np.array((-way[1], way[0], 0.0)) * across
            shots.append(start + (end - start) * part + right + np.array((0.0, 0.0, dz)))
    at = np.array(shots) + noise(len(shots))
    job = HEAD + '[design]\ndrawing = "plan.dxf"\n[tolerance.t]\nhorizontal = "20 mm"\n'
    job += 'vertical = "25 mm"\n' if levels else ""
    job += '[[stakeout]]\nname = "Curb"\nmatch = "line"\ndesign = { layer = "CURB" }\n'
    return results(folder, job + 'tolerance = "t"\n', m=table(at, "C"))["diagnoses"]


def test_shots_on_a_drawn_line_show_another_face_and_a_pole(tmp_path: Path) -> None:
    assert curb(tmp_path, 0.0, 0.0) == []
    found = curb(tmp_path, 0.1524, 0.0)
    assert [each["blunder"] for each in found] == ["wrong-line"]
    assert found[0]["parameter"]["across"] == pytest.approx(0.1524, abs=0.01)
    assert found[0]["applies_to"]["check"] == "Curb"
    assert [each["blunder"] for each in curb(tmp_path, 0.0, 0.2)] == ["pole-height"]
    both = curb(tmp_path, -0.1524, -0.2)
    assert {each["blunder"] for each in both} == {"pole-height", "wrong-line"}


def test_a_line_without_heights(tmp_path: Path) -> None:
    assert curb(tmp_path, 0.0, 0.0, levels=False) == []
    found = curb(tmp_path, -0.3, 0.0, levels=False)
    assert [each["blunder"] for each in found] == ["wrong-line"]
    assert found[0]["parameter"]["across"] == pytest.approx(-0.3, abs=0.01)
