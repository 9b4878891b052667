from pathlib import Path

import numpy as np

from checker.diagnose.sources import _choice
from checker.run import check
from tests.bench import sites


def test_few_heights_are_all_looked_at() -> None:
    rows = np.array([3, 5, 9], dtype=np.int64)
    assert _choice(rows, np.zeros(10)).tolist() == [3, 5, 9]


def test_of_very_many_an_even_choice_and_the_farthest() -> None:
    rng = np.random.default_rng(3)
    dz = rng.normal(0.2, 0.01, 400_000)
    odd = rng.choice(400_000, 40, replace=False)
    dz[odd] += 1.0
    rows = np.flatnonzero(rng.random(400_000) < 0.9)
    chosen = _choice(rows, dz)
    assert 40_000 < len(chosen) <= 50_500
    assert np.isin(chosen, rows).all()
    assert (np.diff(chosen) > 0).all()
    assert np.isin(np.intersect1d(odd, rows), chosen).all()
    assert abs(np.median(dz[chosen]) - np.median(dz[rows])) < 1e-4
    halves = [np.count_nonzero(chosen < 200_000), np.count_nonzero(chosen >= 200_000)]
    assert abs(halves[0] - halves[1]) < 500


def test_many_shots_beside_lines_are_searched_by_a_sample(tmp_path: Path) -> None:
    results = check(sites.lines(tmp_path / "job", 330, 2500))
    assert len(results.findings[0].measure.id) == 2500
    assert not results.diagnosed.diagnoses
