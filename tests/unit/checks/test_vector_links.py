"""Vectors between control points, and axes told by the control; earth-centred places by PROJ."""

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pyproj import Transformer

from checker.run import check, document

GRID = "EPSG:32613"
MARKS = {
    "A": (4450000.0, 520000.0, 1600.0),
    "B": (4450800.0, 521500.0, 1650.0),
    "C": (4449300.0, 522300.0, 1580.0),
}
GEOID = -17.5


def earth() -> dict[str, np.ndarray]:
    degrees = Transformer.from_crs(GRID, "EPSG:4326", always_xy=True)
    cart = Transformer.from_pipeline("+proj=cart +ellps=WGS84")
    found = {}
    for name, (n, e, z) in MARKS.items():
        longitude, latitude = map(math.radians, degrees.transform(e, n))
        found[name] = np.array(cart.transform(longitude, latitude, z + GEOID, radians=True))
    return found


def vectors(place: Path, keys: str, rows: str, *, crs: bool = True) -> dict[str, Any]:
    place.mkdir(parents=True, exist_ok=True)
    control = "".join(f"{name},{n},{e},{z}\n" for name, (n, e, z) in MARKS.items())
    (place / "c.csv").write_text("id,northing,easting,elevation\n" + control)
    (place / "v.csv").write_text("from,to,dx,dy,dz\n" + rows)
    reference = f'[reference]\ncrs = "{GRID}"\n' if crs else ""
    (place / "job.toml").write_text(
        f'[job]\ntitle = "Invented"\nunit = "metre"\n{reference}[control]\nfile = "c.csv"\n'
        f'[[vectors]]\nname = "gps"\nfile = "v.csv"\ntolerance = {{ misclosure = "1 cm" }}\n{keys}'
    )
    checks: Any = document(check(place))["checks"]
    return next(each for each in checks if each["kind"] == "vectors")


def row(one: str, other: str, step: np.ndarray) -> str:
    return f"{one},{other},{step[0]:.6f},{step[1]:.6f},{step[2]:.6f}\n"


def test_a_local_link_closes_on_the_difference_of_its_control_points(tmp_path: Path) -> None:
    # A to P to C; x east, y north, z up, and 7 mm too much of z.
    rows = "A,P,1000,-300,10\nP,C,1300,-400,-29.993\n"
    found = vectors(tmp_path, 'loops = [["A", "P", "C"]]\n', rows, crs=False)
    (only,) = found["rows"]
    assert only["kind"] == "link"
    assert [only[f"misclosure_{axis}"] for axis in "xyz"] == pytest.approx([0, 0, 0.007], abs=1e-9)
    assert [only[f"misclosure_{axis}"] for axis in "neu"] == pytest.approx([0, 0, 0.007], abs=1e-9)
    assert only["verdict"] == "within"
    assert found["summary"]["links"] == 1


def test_an_earth_centred_link_closes_with_the_geoid(tmp_path: Path) -> None:
    place = earth()
    middle = (place["A"] + place["C"]) / 2.0
    rows = row("A", "P", middle - place["A"]) + row("P", "C", place["C"] - middle)
    keys = f'frame = "geocentric"\ngeoid_height = "{GEOID} m"\nloops = [["A", "P", "C"]]\n'
    (only,) = vectors(tmp_path / "with", keys, rows)["rows"]
    assert only["misclosure"] == pytest.approx(0.0, abs=1e-5)
    without = keys.replace(f'geoid_height = "{GEOID} m"\n', "")
    (other,) = vectors(tmp_path / "without", without, rows)["rows"]
    # 17.5 m of height change a length by 17.5 m over the radius of the earth.
    far = math.dist(MARKS["A"][:2], MARKS["C"][:2])
    assert other["misclosure"] == pytest.approx(17.5 / 6.37e6 * far, rel=0.02)


@pytest.mark.parametrize("frame", ['frame = "geocentric"\n', ""])
def test_north_east_and_up_are_those_of_the_grids_place(tmp_path: Path, frame: str) -> None:
    """A blunder of 25 mm straight up in one vector of a loop shows as up alone."""
    place = earth()
    up = place["B"] / np.linalg.norm(place["B"])
    up = up + np.array([0.0, 0.0, 0.00335 * math.sin(math.radians(40.2))])  # the ellipsoid's normal
    up /= np.linalg.norm(up)
    rows = (
        row("A", "B", place["B"] - place["A"] + 0.025 * up)
        + row("B", "C", place["C"] - place["B"])
        + row("C", "A", place["A"] - place["C"])
    )
    found = vectors(tmp_path, frame, rows)
    loop = found["rows"][0]
    assert loop["id"] == "A-B-C-A"
    assert loop["misclosure_u"] == pytest.approx(0.025, abs=1e-5)
    assert abs(loop["misclosure_n"]) < 5e-4
    assert abs(loop["misclosure_e"]) < 5e-4
    assert ("By the control" in found["remarks"][0]) == (frame == "")


def test_axes_that_nothing_tells_are_shown_as_booked(tmp_path: Path) -> None:
    rows = "X,Y,10,0,0\nY,Z,0,10,0\nZ,X,-10,-10,0.004\n"
    found = vectors(tmp_path, "", rows)
    assert "misclosure_n" not in found["rows"][0]
    assert "shown as booked" in found["remarks"][0]
