"""What the named grid does at the site."""

import math
from dataclasses import replace

import pytest
from pyproj import Geod, Proj

from checker.checks.grid import mean_radius_m, site_frame
from checker.model.finding import Results, Verdict
from checker.model.frame import SiteFrame
from checker.model.job import Ground, Job, Reference
from checker.model.points import Points
from checker.report.frame_view import frame_lines
from checker.units import LengthUnit
from tests.support.points import inputs, job, points, texts

FOOT = 1200.0 / 3937.0
SITE = points(
    [("1", 512000.0 * FOOT, 618000.0 * FOOT, 15.0), ("2", 512500.0 * FOOT, 618600.0 * FOOT, 13.0)]
)


def framed(crs: str | None, factor: float | None = None) -> Job:
    ground = None
    if factor is not None:
        ground = Ground(combined_factor=factor, origin_n_m=0.0, origin_e_m=0.0)
    return replace(job(unit=LengthUnit.US_SURVEY_FOOT), reference=Reference(crs=crs, ground=ground))


def found(crs: str = "EPSG:6527", where: Points = SITE, factor: float | None = None) -> SiteFrame:
    frame = site_frame(framed(crs, factor), inputs(measured=where))
    assert frame is not None
    return frame


def test_scale_and_convergence_against_geodesics() -> None:
    """Independent: a short geodesic north from the site, projected, has the scale and direction."""
    frame = found()
    lon, lat = math.degrees(frame.longitude_rad), math.degrees(frame.latitude_rad)
    end = Geod(ellps="GRS80").fwd(lon, lat, 0.0, 100.0)
    project = Proj("EPSG:6527")
    (e0, e1), (n0, n1) = project([lon, end[0]], [lat, end[1]])
    length = math.hypot(e1 - e0, n1 - n0) * FOOT
    assert length / 100.0 == pytest.approx(frame.scale, abs=1e-8)
    grid_azimuth = math.atan2(e1 - e0, n1 - n0)  # of geodetic azimuth 0
    assert grid_azimuth == pytest.approx(-frame.convergence_rad, abs=1e-6)


def test_combined_factor_and_what_it_comes_to() -> None:
    frame = found(factor=0.99992)
    assert frame.elevation_m == pytest.approx(14.0)
    assert frame.elevation_factor == pytest.approx(1.0 - 14.0 / 6.37e6, abs=1e-8)
    assert frame.combined_factor == pytest.approx(frame.scale * frame.elevation_factor)
    extent = math.hypot(500.0, 600.0) * FOOT
    assert frame.extent_m == pytest.approx(extent)
    assert frame.ground_less_grid_m == pytest.approx(extent * 84e-6, rel=0.01)
    assert abs(frame.stated_less_found_m) < 0.002
    assert frame.remarks == ()


@pytest.mark.parametrize(
    ("factor", "words"),
    [(1.00008, "looks like its inverse"), (1.0, "differs from the one found here by")],
)
def test_a_factor_that_does_not_fit_stands_out(factor: float, words: str) -> None:
    far = points([("1", 100000.0, 188000.0, 15.0), ("2", 156200.0, 188700.0, 13.0)])
    (text,) = found(factor=factor, where=far).remarks
    assert words in text


def test_points_outside_the_grid_stand_out() -> None:
    (text,) = found("EPSG:2193").remarks
    assert "outside the area that it is made for" in text


@pytest.mark.parametrize("crs", [None, "a local grid", "EPSG:4326", "EPSG:4978"])
def test_what_is_no_known_grid_says_nothing(crs: str | None) -> None:
    assert site_frame(framed(crs), inputs(measured=SITE)) is None


def test_no_points_no_site() -> None:
    assert site_frame(framed("EPSG:6527"), inputs()) is None
    assert site_frame(framed("EPSG:6527"), inputs(control=SITE)) is not None


def test_mean_radius_at_pole_and_equator() -> None:
    """M N at the equator is b^2, at the pole (a^2 / b)^2: plain geometry of an ellipse."""
    a, b = 6378137.0, 6356752.314140356
    assert mean_radius_m(0.0, a, b) == pytest.approx(b, rel=1e-12)
    assert mean_radius_m(math.pi / 2.0, a, b) == pytest.approx(a * a / b, rel=1e-12)


def test_the_block_says_what_is_not_stated_too() -> None:
    def lines(of: Job, frame: SiteFrame | None) -> dict[str, str]:
        results = Results(
            job=of,
            inputs=inputs(measured=SITE),
            findings=(),
            verdict=Verdict.UNCHECKED,
            counts={},
            unused=SITE.line[:0],
            doubts=texts(["", ""]),
            frame=frame,
        )
        return {line.name: line.text for line in frame_lines(results)}

    bare = lines(framed(None), None)
    assert set(bare.values()) == {"not stated in the job"}
    full = lines(framed("EPSG:6527", factor=0.99992), found(factor=0.99992))
    assert full["Realization"] == "not stated in the job"
    assert full["Convergence"].startswith("+0°17′")
    assert "the ground is 0.066" in full["Ground against grid"]
    assert "longer than the grid" in full["Ground against grid"]
    flat = replace(SITE, elevation_m=SITE.elevation_m * math.nan)
    assert lines(framed("EPSG:6527"), found(where=flat))["Elevation factor"].startswith("not known")
