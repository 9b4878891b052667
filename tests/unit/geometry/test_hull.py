"""The figure around points, against scipy's and shapely's."""

import numpy as np
import pytest
import shapely
from scipy.spatial import ConvexHull

from checker.geometry.hull import hull, outside_by


def test_against_scipy_and_shapely() -> None:
    rng = np.random.default_rng(1)
    marks, points = rng.normal(size=(30, 2)), 2.0 * rng.normal(size=(200, 2))
    corners = hull(marks)
    assert {tuple(each) for each in corners} == {
        tuple(each) for each in marks[ConvexHull(marks).vertices]
    }
    figure = shapely.Polygon(corners)
    assert figure.exterior.is_ccw
    expected = [figure.distance(shapely.Point(point)) for point in points]
    assert outside_by(corners, points) == pytest.approx(expected, abs=1e-12)


def test_marks_in_a_line_or_alone_enclose_nothing() -> None:
    line = hull([[0.0, 0.0], [1.0, 1.0], [2.0, 2.0]])
    assert len(line) == 2
    assert outside_by(line, [[0.0, 2.0], [1.0, 1.0], [3.0, 3.0]]) == pytest.approx(
        [np.sqrt(2.0), 0.0, np.sqrt(2.0)]
    )
    assert outside_by(hull([[1.0, 1.0], [1.0, 1.0]]), [[4.0, 5.0]]) == pytest.approx([5.0])
