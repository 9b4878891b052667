"""Laws of the diagnoses: the order of rows and the place of the site do not matter."""

from dataclasses import replace

import numpy as np
import pytest

from checker.model.points import Points
from checker.run import evaluate
from tests.support.blunders import make_case
from tests.support.diagnoses import named, parameter

pytestmark = pytest.mark.property

PLACELESS = ("shift", "pole-height", "height-constant", "base-moved", "stale-revision")


def turned_over(points: Points) -> Points:
    """Return the points in the reverse order."""
    quality = points.quality
    fields = {
        name: getattr(quality, name)[::-1]
        for name in ("sigma_n_m", "sigma_e_m", "sigma_h_m", "sigma_z_m", "session")
        if getattr(quality, name) is not None
    }
    arrays = {
        name: getattr(points, name)[::-1]
        for name in (
            *("id", "northing_m", "easting_m", "elevation_m", "description", "layer"),
            *("handle", "file", "line"),
        )
    }
    return replace(points, **arrays, quality=replace(quality, **fields))


@pytest.mark.parametrize("blunder", [*PLACELESS, "rotation", "foot-definition", "ids-exchanged"])
def test_the_order_of_shots_does_not_matter(blunder: str) -> None:
    case = make_case(71_000, blunder)
    assert case.inputs.measured is not None
    other = replace(case.inputs, measured=turned_over(case.inputs.measured))
    one, two = named(case), evaluate(case.job, other).diagnosed.diagnoses
    assert [d.cause.blunder for d in one] == [d.cause.blunder for d in two]
    for first, second in zip(one, two, strict=True):
        assert first.applies_to.by == second.applies_to.by
        for item in first.cause.parameter:
            if isinstance(item.value, float):
                assert parameter(second, item.key) == pytest.approx(item.value, abs=1e-6)


@pytest.mark.parametrize("blunder", PLACELESS)
def test_a_shift_is_a_shift_wherever_the_site_lies(blunder: str) -> None:
    for seed in range(72_000, 72_003):
        case = make_case(seed, blunder)
        if case.job.reference.crs is not None:
            continue
        move = np.array((3_210.0, 7_640.0))

        def moved(points: Points | None, by: np.ndarray = move) -> Points | None:
            if points is None:
                return None
            return replace(
                points, northing_m=points.northing_m + by[0], easting_m=points.easting_m + by[1]
            )

        there = replace(
            case.inputs,
            design=moved(case.inputs.design),
            measured=moved(case.inputs.measured),
            control=moved(case.inputs.control),
        )
        one = [d.cause.blunder for d in named(case)]
        two = [d.cause.blunder for d in evaluate(case.job, there).diagnosed.diagnoses]
        assert one == two
