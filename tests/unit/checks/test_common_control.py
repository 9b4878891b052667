"""What the control is off by is common to all that rests on it."""

import math
from pathlib import Path
from typing import Any

import pytest

from tests.support.jobs import results
from tests.support.shapes import faces_drawing

SHOTS = """\
id,northing,easting,elevation,sigma_n,sigma_e,sigma_z
1,0,0,10,.003,.004,.005
2,100,0,9,.006,.002,.004
3,100,60,10,.003,.004,.005
4,0,60,10,.003,.004,.005
"""
SOURCE = 'source = "common practice, no source"'
JOB = f"""\
[job]
title = "Invented"
unit = "metre"
[design]
points = "d.csv"
drawing = "d.dxf"
[control]
file = "c.csv"
[measured]
files = ["m.csv"]
[[pipe]]
name = "pipe"
runs = [["1", "2"]]
tolerance = {{ slope = "1 %", elevation = 0.02, {SOURCE} }}
[[plane]]
name = "plane"
slope = "0 %"
tolerance = {{ slope = "2 %", vertical = 1, {SOURCE} }}
[[surface]]
name = "surface"
design = {{ layer = "FG-TIN" }}
volume = true
tolerance = {{ vertical = 2, {SOURCE} }}
"""


def run(folder: Path, control: str, job: str = JOB) -> dict[str, Any]:
    folder.mkdir()
    flat = [(-10.0, -10.0, 8.0), (200.0, -10.0, 8.0), (200.0, 200.0, 8.0), (-10.0, 200.0, 8.0)]
    texts = {
        "job.toml": job.replace('file = "c.csv"\n', f'file = "c.csv"\n{control}'),
        "d.csv": "id,northing,easting,elevation\n1,0,0,10\n2,100,0,9\n",
        "c.csv": "id,northing,easting,elevation\nCP,500,500,5\n",
        "m.csv": SHOTS,
    }
    for name, text in texts.items():
        (folder / name).write_text(text, "utf-8")
    (folder / "d.dxf").write_bytes(faces_drawing([flat[:3], [flat[0], *flat[2:]]]))
    return {check["name"]: check for check in results(folder)["checks"]}


def test_falls_and_slopes_do_not_know_it_and_a_volume_is_lifted_by_it(tmp_path: Path) -> None:
    bare = run(tmp_path / "bare", "")
    known = run(tmp_path / "known", "sigma_h = 0.01\nsigma_z = 0.01\n")
    fall, again = (each["pipe"]["rows"][0]["sigma_fall"] for each in (bare, known))
    assert fall == pytest.approx(math.hypot(0.005, 0.004))
    assert again == fall
    slopes = [
        [row["sigma_slope"] for row in each["plane"]["rows"] if row["sigma_slope"] is not None]
        for each in (bare, known)
    ]
    assert slopes[0]
    assert slopes[0] == slopes[1]
    alone, together = (each["surface"]["summary"]["sigma_net_volume"] for each in (bare, known))
    # 10 mm under 100 m by 60 m, all at once
    assert together == pytest.approx(math.hypot(alone, 0.01 * 6000.0))
    # the heights themselves carry it
    heights = [each["surface"]["rows"][0]["sigma_dz"] for each in (bare, known)]
    assert heights == [pytest.approx(0.005), pytest.approx(math.hypot(0.005, 0.01))]


def test_an_end_of_a_pipe_still_carries_it_against_the_design(tmp_path: Path) -> None:
    guarded = JOB.replace("elevation = 0.02", 'vertical = 0.02, rule = "guarded"')
    bare = run(tmp_path / "bare", "", guarded)
    known = run(tmp_path / "known", "sigma_z = 0.02\n", guarded)
    assert bare["pipe"]["rows"][0]["verdict"] == "within"
    assert known["pipe"]["rows"][0]["verdict"] == "undecided"
