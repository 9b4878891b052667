"""Odd but legal jobs: the whole of them is `python -m tests.bench.diagnose_odd`."""

import pytest

from tests.bench.diagnose_odd import amiss, own, tried
from tests.support.odd_jobs import SITUATIONS


@pytest.mark.parametrize("situation", [each for each in SITUATIONS if "many" not in each])
@pytest.mark.parametrize("seed", [71, 72])
def test_what_was_done_is_named_and_nothing_else(situation: str, seed: int) -> None:
    told, found = tried(seed, situation)
    for one in told:
        mine = own(one, found)
        assert mine is not None
        assert amiss(one, mine) == []
    assert len(found) == len(told)
