import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checker.errors import InputError
from checker.model.job import Job
from checker.read.files import Source
from checker.read.job import read_job

pytestmark = pytest.mark.property

BROKEN = Path(__file__).parents[1] / "bad_inputs" / "job"
WHOLE = b"""\
[job]
title = "Invented"
unit = "us-survey-foot"
date = 2031-04-17
[reference]
ground = { combined_factor = 0.9999, origin = { n = 512000.0, e = 618000.0 } }
[design]
drawing = "a.dxf"
labels = { layer = "TXT", radius = "2 ft" }
[measured]
files = ["day1.csv"]
columns = { id = "Pt" }
exclude = [{ id = "107", reason = "pole slipped" }]
[control]
file = "c.csv"
tolerance = "t"
[gate]
solution = ["fixed"]
pole = ["2 m"]
elevation_mask = 10
[tolerance.t]
horizontal = "0.03 ft"
vertical = 0.02
rule = "guarded"
[[stakeout]]
design = { layer = "A" }
match = "nearest"
within = 1
tolerance = "t"
[[traverse]]
file = "t.csv"
shape = "link"
angles = "right"
start = "A"
close = { n = 1, e = 2 }
backsight = "B"
close_azimuth = "123-45-56"
tolerance = { angular = "20 arcsec * sqrt(n)", ratio = "1:10000" }
[[levels]]
file = "l.csv"
start = "BM1"
tolerance = { misclosure = "0.05 ft * sqrt(mi)" }
[[repeats]]
apart = "4 h"
"""
CORPUS = [WHOLE, *(path.read_bytes() for path in sorted(BROKEN.glob("*.toml")))]
# whole values in place of others: the file stays readable, its meaning does not
VALUES = [
    *(b"0", b"-1", b"1e400", b"nan", b"true", b"[]", b"{}", b'""', b'" "', b"2031-04-17"),
    *(b"07:30:00", b"2031-04-17T10:00:00Z", b'"\\u0000"', b'"1:10000"', b'"-5 mm"', b'"A"'),
    *(b"[[1]]", b'[{ id = "1" }]', b"{ n = 1 }", b'{ elevation = "x" }', b'["", 3]', b"9" * 400),
    *(b'"20 arcsec * km"', b'"\\"', b"'''\n'''", b'"N 45 E"', b"0x" + b"f" * 5000),
]


def outcome(data: bytes) -> Job | InputError:
    try:
        return read_job(Source(path="job.toml", data=data), Path())
    except InputError as fault:
        found = fault
    assert found.problems
    lines = data.count(b"\n") + 1
    for problem in found.problems:
        assert problem.slug
        assert problem.hint
        assert problem.message.isprintable(), problem.message
        assert problem.where.line is None or 1 <= problem.where.line <= lines
    return found


def test_the_whole_job_is_sound() -> None:
    assert isinstance(outcome(WHOLE), Job)


@given(st.binary(max_size=200))
def test_any_bytes(data: bytes) -> None:
    outcome(data)


@settings(max_examples=100)
@given(
    st.sampled_from(CORPUS),
    st.lists(
        st.tuples(st.integers(0, 2000), st.integers(0, 20), st.binary(max_size=6)), max_size=4
    ),
)
def test_spoilt_bytes(data: bytes, edits: list[tuple[int, int, bytes]]) -> None:
    for at, cut, put in edits:
        start = at % (len(data) + 1)
        data = data[:start] + put + data[start + cut :]
    outcome(data)


@settings(max_examples=100)
@given(st.lists(st.tuples(st.integers(0, 100), st.sampled_from(VALUES)), min_size=1, max_size=3))
def test_other_values(swaps: list[tuple[int, bytes]]) -> None:
    lines = WHOLE.split(b"\n")
    for at, value in swaps:
        index = at % len(lines)
        key, sign, _ = lines[index].partition(b" = ")
        if sign:
            lines[index] = key + b" = " + value
    outcome(b"\n".join(lines))


@given(st.permutations(re.split(rb"(?m)^(?=\[)", WHOLE)[1:]))
def test_the_order_of_the_sections_means_nothing(sections: list[bytes]) -> None:
    moved, kept = outcome(b"".join(sections)), outcome(WHOLE)
    assert isinstance(moved, Job)
    assert isinstance(kept, Job)
    assert moved.tolerances == kept.tolerances
    assert moved.reference == kept.reference
    assert {check.name for check in moved.checks} == {check.name for check in kept.checks}


@given(st.integers(0, 50))
def test_a_line_left_out(at: int) -> None:
    lines = WHOLE.split(b"\n")
    del lines[at % len(lines)]
    outcome(b"\n".join(lines))
