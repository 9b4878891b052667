"""The figure of a network, from a job folder: what it draws, what it says, how large."""

import re
from pathlib import Path

import numpy as np
import pytest

from checker.model.finding import Finding
from checker.report.numbers import Outside
from checker.report.plots.network import network
from checker.report.rows import Rows, rows_of
from checker.run import check
from checker.units import LengthUnit
from tests.support.netjobs import folder

CONTROL = "id,northing,easting\nA,1000,1000\nB,1000,1300\n"
SIGHTS = (
    "at,to,distance\nA,P,250.003\nB,P,250.001\nA,Q,430.465\nB,Q,230.871\nP,Q,220.905\nA,B,300.002\n"
)
ROUGH = "id,northing,easting\nP,1200,1150\nQ,1220,1370\n"


def rows(place: Path, sights: str = SIGHTS, more: str = "") -> Rows:
    network_ = f'file = "s.csv"\napproximate = "r.csv"\nsigma_distance = "3 mm"\n{more}'
    results = check(folder(place, network_, control=CONTROL, r=ROUGH, s=sights))
    finding: Finding = results.findings[-1]
    assert finding.measure.kind == "network"
    return rows_of(finding, Outside(unit=LengthUnit.METRE), "c1")


def test_stations_lines_and_ellipses_are_drawn_with_their_exaggeration(tmp_path: Path) -> None:
    made = rows(tmp_path, SIGHTS.replace("220.905", "220.915"))
    figure = network(made, "c1-figure")
    assert figure is not None
    drawing = str(figure.svg)
    assert drawing.count("<ellipse") == 2
    for name in "ABPQ":
        assert f">{name}</text>" in drawing
    (factor,) = re.findall(r"Ellipses drawn × ([\d,]+);", figure.caption)
    scale = float(factor.replace(",", ""))
    assert scale in {d * 10**p for d in (1, 2, 5) for p in range(8)}
    # The larger half axis is drawn at that many times its size.
    wide = max(float(each) for each in re.findall(r'<ellipse rx="([\d.]+)"', drawing))
    major = np.nanmax(made.lengths("semi_major"))
    per_unit = (460 - 2 * 64 - 24) / 220.0  # the net is 370 m wide and 220 m high
    assert wide <= 31
    assert wide == pytest.approx(major * scale * per_unit, rel=0.05)
    # Five lines are joined by distances to stations that move; the two held are not a pair.
    (lines,) = re.findall(r'<path d="((?:M[\d. -]+L[\d. -]+)+)"', drawing)[:1]
    assert lines.count("M") == 5


def test_the_title_says_what_was_found(tmp_path: Path) -> None:
    calm = network(rows(tmp_path / "calm"), "f")
    assert calm is not None
    assert re.fullmatch(
        r"Largest ellipse \d+(\.\d)? mm at 95.%, at [PQ]; no observation stands out", calm.title
    )
    loud = network(rows(tmp_path / "loud", SIGHTS.replace("250.003", "250.303")), "f")
    assert loud is not None
    assert "stand" in loud.title
    assert "no observation" not in loud.title


def test_a_net_of_levels_has_no_plan(tmp_path: Path) -> None:
    sights = "from,to,rise\nA,P,1.0\nP,Q,1.0\nQ,A,-2.001\n"
    control = "id,northing,easting,elevation\nA,0,0,10\n"
    results = check(folder(tmp_path, 'file = "s.csv"\n', control=control, s=sights))
    made = rows_of(results.findings[-1], Outside(unit=LengthUnit.METRE), "c1")
    assert network(made, "f") is None
