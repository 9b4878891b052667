"""Laws of the stakeout that hold for every job."""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from checker.checks.stakeout import measure_stakeout
from checker.model.arrays import FloatArray
from checker.model.finding import Finding
from checker.model.job import Match, Rule
from checker.model.points import Points
from checker.units import LengthUnit
from checker.verdicts.judge import judge
from tests.support.points import inputs, job, points, stakeout, texts, tolerance

pytestmark = pytest.mark.property
LIMIT = tolerance(horizontal=0.03, vertical=0.02, rule=Rule.GUARDED)


@dataclass(frozen=True)
class Site:
    """Design points on a 10 m grid and one shot at each; arrays of shape (n, 3): N, E, Z."""

    design: FloatArray
    shots: FloatArray
    names: list[str]


@st.composite
def sites(draw: st.DrawFn) -> Site:
    count = draw(st.integers(1, 12))
    seed = draw(st.integers(0, 2**32 - 1))
    rng = np.random.default_rng(seed)
    places = rng.permutation(100)[:count]
    design = np.column_stack(
        (10.0 * (places // 10), 10.0 * (places % 10), rng.uniform(0, 9, count))
    )
    size = draw(st.sampled_from([0.0, 0.005, 0.02, 0.1]))
    shots = design + rng.normal(0.0, 1.0, design.shape) * size
    # No case stands so near to a limit that moving the site by a million metres decides it.
    off = np.abs(shots - design)
    plan = np.hypot(off[:, 0], off[:, 1])
    radial, guard = np.hypot(0.004, 0.003) * 2, 0.01
    for value, limits in ((plan, 0.03 + radial * np.array([-1, 0, 1])),
                          (off[:, 2], 0.02 + guard * np.array([-1, 0, 1]))):  # fmt: skip
        near = (np.abs(value[:, None] - limits) < 1e-5).any(axis=1)
        shots[near] = design[near]
    return Site(design=design, shots=shots, names=[str(101 + place) for place in places])


def table(names: list[str], xyz: FloatArray) -> Points:
    rows = [(name, *map(float, row)) for name, row in zip(names, xyz, strict=True)]
    return points(rows, sigma=(0.004, 0.003, 0.005))  # type: ignore[arg-type]


def run(site: Site, *, match: Match = Match.ID, shot_names: list[str] | None = None) -> Finding:
    section = stakeout(limit=LIMIT, match=match)
    data = inputs(
        design=table(site.names, site.design), measured=table(shot_names or site.names, site.shots)
    )
    measure = measure_stakeout(section, data, job(section))
    return judge(measure, texts([""] * len(site.names)), LengthUnit.METRE)


def column(finding: Finding, key: str) -> FloatArray:
    return np.array(finding.measure.column(key).values.tolist(), dtype=np.float64)


def moved(site: Site, turn_rad: float, shift: tuple[float, float, float]) -> Site:
    cosine, sine = np.cos(turn_rad), np.sin(turn_rad)
    # N' = N cos t - E sin t, E' = N sin t + E cos t: azimuths grow by t
    matrix = np.array([[cosine, sine, 0.0], [-sine, cosine, 0.0], [0.0, 0.0, 1.0]])
    return replace(site, design=site.design @ matrix + shift, shots=site.shots @ matrix + shift)


@given(sites(), st.tuples(*[st.floats(-1e6, 1e6)] * 3))
def test_moving_the_site_moves_no_delta(site: Site, shift: tuple[float, float, float]) -> None:
    here, there = run(site), run(moved(site, 0.0, shift))
    for key in ("dn", "de", "dz", "horizontal"):
        np.testing.assert_allclose(column(there, key), column(here, key), atol=2e-9)
    assert there.row_verdict.tolist() == here.row_verdict.tolist()
    np.testing.assert_allclose(there.p_within, here.p_within, atol=1e-5)


@given(sites(), st.floats(-np.pi, np.pi))
def test_turning_the_site_turns_the_bearings_only(site: Site, turn_rad: float) -> None:
    here, there = run(site), run(moved(site, turn_rad, (0.0, 0.0, 0.0)))
    np.testing.assert_allclose(column(there, "horizontal"), column(here, "horizontal"), atol=1e-12)
    np.testing.assert_allclose(column(there, "dz"), column(here, "dz"), atol=1e-12)
    # The guard is radial, so that the verdict does not depend on where north is.
    assert there.row_verdict.tolist() == here.row_verdict.tolist()
    far = column(here, "horizontal") > 1e-6
    change = column(there, "bearing")[far] - column(here, "bearing")[far] - turn_rad
    np.testing.assert_allclose(np.sin(change), 0.0, atol=1e-6)
    np.testing.assert_allclose(np.cos(change), 1.0, atol=1e-6)


@given(sites(), st.randoms(use_true_random=False))
def test_the_order_of_rows_does_not_matter(site: Site, random: object) -> None:
    order = list(range(len(site.names)))
    random.shuffle(order)  # type: ignore[attr-defined]
    section = stakeout(limit=LIMIT)
    shots = table([site.names[row] for row in order], site.shots[order])
    data = inputs(design=table(site.names, site.design), measured=shots)
    there = judge(
        measure_stakeout(section, data, job(section)), texts([""] * len(order)), LengthUnit.METRE
    )
    here = run(site)
    assert there.measure.id.tolist() == here.measure.id.tolist()
    assert there.row_verdict.tolist() == here.row_verdict.tolist()
    np.testing.assert_array_equal(column(there, "dn"), column(here, "dn"))


@given(sites())
def test_nearest_finds_what_the_numbers_say_where_shots_are_near(site: Site) -> None:
    off = np.hypot(*(site.shots - site.design).T[:2])
    by_id, by_place = run(site), run(site, match=Match.NEAREST)
    if off.max() < 1.0:
        assert by_place.row_verdict.tolist() == by_id.row_verdict.tolist()
        np.testing.assert_array_equal(column(by_place, "dn"), column(by_id, "dn"))


@given(sites())
def test_exchanging_design_and_shots_changes_the_sign_only(site: Site) -> None:
    here = run(site)
    there = run(replace(site, design=site.shots, shots=site.design))
    np.testing.assert_array_equal(column(there, "dn"), -column(here, "dn"))
    np.testing.assert_array_equal(column(there, "dz"), -column(here, "dz"))
    assert there.row_verdict.tolist() == here.row_verdict.tolist()


@given(sites(), st.integers(0, 11))
def test_a_shot_that_is_left_out_is_never_a_pass(site: Site, which: int) -> None:
    gone = which % len(site.names)
    names = [*site.names]
    names[gone] = "elsewhere"
    finding = run(site, shot_names=names)
    assert finding.row_verdict[gone] == 1
    assert finding.verdict.word in ("unchecked", "undecided", "outside")
