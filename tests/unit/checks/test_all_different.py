import numpy as np
import pytest

from checker.checks import selecting
from checker.checks.selecting import all_different
from checker.model.arrays import TextArray


def texts(*names: str) -> TextArray:
    return np.array(names, dtype=object)


def test_texts_that_stand_twice_are_seen() -> None:
    assert all_different(texts())
    assert all_different(texts("1"))
    assert all_different(texts("1", "01", "1 ", "", "2"))
    assert not all_different(texts("1", "2", "1"))
    assert not all_different(texts("", "a", ""))


def test_alike_codes_of_different_texts_are_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(selecting, "hash", len, raising=False)
    assert all_different(texts("ab", "cd", "e"))
    assert not all_different(texts("ab", "cd", "ab"))
