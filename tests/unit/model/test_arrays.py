import numpy as np
import pytest

from checker.model.arrays import is_same, same_number, same_text, taken


def test_one_element_many_times_takes_no_room() -> None:
    texts, numbers = same_text("as drawn", 1_000_000), same_number(np.nan, 1_000_000)
    assert texts.tolist()[::999_999] == ["as drawn", "as drawn"]
    assert np.isnan(numbers).all()
    for values in (texts, numbers):
        assert len(values) == 1_000_000
        assert is_same(values)
        assert values.strides == (0,)
        with pytest.raises(ValueError, match="read-only"):
            values[0] = values[1]
    assert not is_same(np.zeros(3))
    assert not is_same(same_number(1.0, 0))


def test_values_are_taken_at_their_indices() -> None:
    values = np.array([4.0, 5.0, 6.0])
    for index in ([0, 1, 2], [2, 1, 0], [0, 0, 2], [1], [], [0, 1, 2, 2]):
        some = np.array(index, dtype=np.int64)
        np.testing.assert_array_equal(taken(values, some), values[some])
        np.testing.assert_array_equal(taken(same_number(7.0, 3), some), np.full(len(index), 7.0))
    names = same_text("a", 3)
    assert taken(names, np.array([2, 0])).tolist() == ["a", "a"]
    assert taken(names, np.array([2, 0])).dtype == object


def test_all_in_their_order_are_the_array_itself() -> None:
    values = np.array([4.0, 5.0, 6.0])
    itself = taken(values, np.arange(3))
    assert np.shares_memory(itself, values)
    with pytest.raises(ValueError, match="read-only"):
        itself[0] = 0.0
    values[0] = 1.0
    assert not np.shares_memory(taken(values, np.array([0, 2, 1])), values)
