"""Whatever files hold: show shows or refuses in words, new writes a job that builds or nothing."""

import tempfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from checker.errors import CheckerError, InputError, OutputError
from checker.run import check, new, show
from tests.support.drawings import labelled_drawing

pytestmark = pytest.mark.property

PIECES = [
    "id,northing,easting,elevation,description",
    "Pt N E Z",
    "101,5000.1,6000.2,50.5,hub",
    "102;5001,5;6001,5;51,5",
    "103 5002.5 6002.5 52.5",
    "104,nan,1e400,-",
    "at,to,angle,distance",
    "A,B,12-30-00,100.5",
    "point,bs,is,fs",
    "BM,1.1,,2.2",
    "id,lat,lon",
    "1,40-10-00N,74-20-00W",
    "station,elevation",
    "10+00,50",
    "# note",
    '"open',
    "units: feet",
    "(m),(ft),(deg)",
    '{"type": "FeatureCollection", "features": [{"type": "Feature"}]}',
    "  0\nSECTION\n  2\nENTITIES\n  0\nPOINT\n  8\nA\n 10\n1.0\n 20\n2.0",
    "  0\nENDSEC\n  0\nEOF",
    "\x1b[2J\r\x07",
    "٣,²,Ⅷ",
]
lines = st.lists(st.one_of(st.sampled_from(PIECES), st.text(max_size=12)), max_size=8)
texts = st.tuples(lines, st.sampled_from(["\n", "\r\n", "\r"])).map(lambda t: t[1].join(t[0]))
contents = st.one_of(
    st.tuples(texts, st.sampled_from(["utf-8", "utf-16", "cp1252"])).map(
        lambda pair: pair[0].encode(pair[1], errors="replace")
    ),
    st.binary(max_size=120),
)


def show_or_refuse(path: Path) -> None:
    try:
        text, problems = show(path)
    except InputError as fault:
        text, problems = "", fault.problems
        assert problems
    assert all(problem.message and problem.hint for problem in problems)
    assert "\x1b" not in text
    assert "\r" not in text


@given(contents, st.sampled_from(["a.csv", "a.dxf", "a.geojson"]))
def test_show_shows_or_refuses(data: bytes, name: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(data)
        show_or_refuse(path)


DRAWING = labelled_drawing(
    {
        "STAKE": [(str(100 + i), 5000.0 + i, 6000.0 + i * i, 50.0) for i in range(6)],
        "TWICE": [("1", 0.0, 0.0, 0.0), ("1", 5.0, 5.0, 5.0)],
    }
)
cells = st.one_of(
    st.integers(0, 9000).map(str),
    st.floats(0, 9000).map(lambda v: f"{v:.3f}"),
    st.sampled_from(["101", "102", "1", "hub", "", "-", "5000.0", "6000.0", "50.0", "A,B", '"q"']),
)


@st.composite
def tables(draw: st.DrawFn) -> bytes:
    width = draw(st.integers(2, 5))
    rows = draw(st.lists(st.lists(cells, min_size=width, max_size=width), min_size=1, max_size=8))
    headings = draw(
        st.one_of(
            st.just([]),
            st.permutations(["id", "northing", "easting", "elevation", "description"]),
            st.lists(
                st.sampled_from(["Nr", "Hoch", "Rechts", "H", "N", "E", "id"]), min_size=width
            ),
        )
    )
    separator = draw(st.sampled_from([",", ";", "\t", "|"]))
    whole = [list(headings)[:width], *rows] if headings else rows
    return "\n".join(separator.join(row) for row in whole).encode()


@given(st.one_of(tables(), contents), st.one_of(st.none(), tables()))
def test_new_writes_a_job_that_builds_or_nothing(points: bytes, control: bytes | None) -> None:
    with tempfile.TemporaryDirectory() as folder:
        site, inbox = Path(folder) / "site", Path(folder) / "in"
        inbox.mkdir()
        (inbox / "d.dxf").write_bytes(DRAWING)
        (inbox / "p.csv").write_bytes(points)
        given_control = None
        if control is not None:
            given_control = inbox / "c.csv"
            given_control.write_bytes(control)
        refused = ""
        try:
            new(site, inbox / "d.dxf", [inbox / "p.csv"], given_control)
        except (InputError, OutputError) as fault:
            refused = str(fault)
        assert site.exists() == (refused == "")
        if refused:
            return
        try:
            check(site)
        except CheckerError as fault:
            raise AssertionError(f"{fault}\n{(site / 'job.toml').read_text()}") from fault
