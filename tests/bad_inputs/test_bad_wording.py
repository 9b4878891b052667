"""Broken files of texts: every fault is said, and nothing else comes out."""

import contextlib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from checker.errors import InputError
from checker.read.files import Source
from checker.read.wording import read_wording

FOLDER = Path(__file__).parent / "wording"
EXPECTED = {
    "binary": ["it is no TOML"],
    "shape": ['"text" stands in it', "texts is no table of texts"],
    "syntax": ["it is no TOML"],
    "values": [
        'language is "no such code"',
        'what stands for "Find" is no text',
        '"{3} von {1}" has a place that "{1} of {2}" does not have',
    ],
}


def test_every_broken_file_is_expected() -> None:
    assert sorted(EXPECTED) == sorted(path.stem for path in FOLDER.glob("*.toml"))


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_a_broken_file_says_all_that_is_wrong(name: str) -> None:
    path = FOLDER / f"{name}.toml"
    with pytest.raises(InputError) as caught:
        read_wording(Source(path=path.name, data=path.read_bytes()))
    problems = caught.value.problems
    assert {problem.slug for problem in problems} == {"wording"}
    for text, problem in zip(EXPECTED[name], problems, strict=True):
        assert text in problem.message
        assert problem.hint


@given(
    st.one_of(
        st.binary(max_size=200), st.text(st.characters(codec="utf-8"), max_size=200).map(str.encode)
    )
)
def test_whatever_the_bytes_a_wording_or_a_message_comes_out(data: bytes) -> None:
    with contextlib.suppress(InputError):
        read_wording(Source(path="x.toml", data=data))


def test_brackets_without_end_are_a_message() -> None:
    with pytest.raises(InputError, match="no TOML"):
        read_wording(Source(path="x.toml", data=b"a = " + b"[" * 100_000))
