import numpy as np
import pytest

from checker.geometry.degrees import look_geographic

SITE = np.array([(-99.9637411, 33.0297713), (-99.9635312, 33.0299214), (-99.9636127, 33.0298003)])


def test_a_site_in_degrees_in_either_order() -> None:
    assert look_geographic(SITE)
    assert look_geographic(SITE[:, ::-1])
    assert look_geographic(np.vstack((SITE, [(np.nan, np.nan)])))


@pytest.mark.parametrize(
    "xy",
    [
        SITE[:1],  # one point shows no site
        np.round(SITE, 3),  # written as a plan in metres would be
        SITE + np.array((0.0, 60.0)),  # no latitude
        SITE * 10.0,  # wider than a site
        SITE - SITE[0],  # near zero, as local plans begin
        SITE + np.array((500_000.0, 3_600_000.0)),
        np.full((3, 2), np.nan),
    ],
)
def test_no_site_in_degrees(xy: np.ndarray[tuple[int, int], np.dtype[np.float64]]) -> None:
    assert not look_geographic(xy)
