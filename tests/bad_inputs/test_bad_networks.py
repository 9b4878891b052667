"""Networks that cannot be adjusted: every message names the row or station, and the remedy."""

from pathlib import Path

import pytest

from checker.errors import InputError
from tests.support.netjobs import folder, outcome

CONTROL = "id,northing,easting,elevation\nA,0,0,10\nB,0,100,11\nC,90,20,\n"
ROUGH = "id,northing,easting\nP,60,50\nQ,60,51\nT4,100,60\nT5,100,80\n"
TRIANGLE = "at,to,distance\nA,P,80\nB,P,80.5\nA,B,100.001\n"


def fault(tmp_path: Path, network: str, **tables: str) -> tuple[str, str, str, str]:
    """Return slug, place, message and hint of the one fault."""
    made = folder(tmp_path, f'file = "s.csv"\n{network}', control=CONTROL, r=ROUGH, **tables)
    with pytest.raises(InputError) as caught:
        outcome(made)
    (problem,) = caught.value.problems
    return problem.slug, str(problem.where), problem.message, problem.hint


def test_a_station_that_hangs_on_one_distance(tmp_path: Path) -> None:
    slug, _, message, hint = fault(tmp_path, 'approximate = "r.csv"\n', s=TRIANGLE + "P,T4,50\n")
    assert slug == "not-determined"
    assert message == (
        "the position of T4 is not determined: station T4 hangs on one distance "
        "(distance P to T4, s.csv:5)"
    )
    assert "observe more" in hint


def test_two_stations_that_hang_are_both_named(tmp_path: Path) -> None:
    _, _, message, _ = fault(tmp_path, 'approximate = "r.csv"\n', s=TRIANGLE + "P,T4,50\nP,T5,60\n")
    assert "station T4 hangs on one distance" in message
    assert "station T5 hangs on one distance" in message


def test_a_station_in_a_free_net(tmp_path: Path) -> None:
    rows = "at,to,distance\nA,P,80\nB,P,80.5\nA,B,100\nP,T4,50\n"
    _, _, message, _ = fault(tmp_path, 'fixed = []\napproximate = "r.csv"\n', s=rows)
    assert message.startswith("the position of T4 is not determined: station T4 hangs on one")


def test_a_net_that_may_turn(tmp_path: Path) -> None:
    slug, _, message, _ = fault(tmp_path, 'fixed = ["A"]\napproximate = "r.csv"\n', s=TRIANGLE)
    assert slug == "not-determined"
    assert "can move one way (shift or turn)" in message


def test_heights_without_a_bench_mark(tmp_path: Path) -> None:
    slug, _, message, _ = fault(tmp_path, "", s="from,to,rise\nP,Q,1.0\nQ,R,1.0\n")
    assert slug == "not-determined"
    assert (
        message == "the elevations of P, Q, R are not determined: no bench mark holds them together"
    )


def test_two_distances_leave_two_places(tmp_path: Path) -> None:
    slug, _, message, hint = fault(tmp_path, "", s=TRIANGLE)
    assert slug == "not-determined"
    assert message.startswith("nothing leads to P from a known point")
    assert "approximate" in hint


@pytest.mark.parametrize(
    ("network", "slug", "says", "hint"),
    [
        ('fixed = ["X"]\n', "unknown-control", 'fixed names "X"', "add the point to the control"),
        ('weighted = { X = "1 mm" }\n', "unknown-control", 'weighted names "X"', "add the point"),
        (
            'weighted = ["C"]\n',
            "unknown-control",
            "no observation of the network reaches",
            "take it",
        ),
        (
            'weighted = ["A"]\n',
            "missing-value",
            '"A" is weighted, and nothing says',
            '{ A = "5 mm" }',
        ),
        (
            'weighted = { A = "1 mm" }\nfixed = ["A"]\n',
            "conflicting-keys",
            "both fixed and weighted",
            "one of them",
        ),
        ('weighted = { A = "-1 mm" }\n', "bad-value", "-1 mm", "write a standard deviation"),
        ('weighted = { A = { x = "1 mm" } }\n', "unknown-key", '"x"', ""),
        ('test = "bardaa"\n', "wrong-choice", '"bardaa"', '"baarda"'),
        ('sigma_direction = "3 mm"\n', "bad-value", "sigma_direction", "write an angle"),
        ('approximate = "none.csv"\n', "missing-file", '"none.csv" is not there', ""),
        ('use = ["T"]\n', "unknown-section-name", '"T"', ""),
    ],
)
def test_keys_that_do_not_fit(
    tmp_path: Path, network: str, slug: str, says: str, hint: str
) -> None:
    found = fault(tmp_path, network, s=TRIANGLE)
    assert found[0] == slug
    assert says in found[2]
    assert hint in found[3]


def test_a_line_without_the_length_that_its_precision_needs(tmp_path: Path) -> None:
    rows = "from,to,rise,distance\nA,P,1.0,200\nP,B,0.0,\n"
    slug, where, message, hint = fault(tmp_path, 'sigma_rise = "1 mm * sqrt(km)"\n', s=rows)
    assert (slug, where) == ("tolerance-unusable", "s.csv:3")
    assert "needs the length of this line" in message
    assert "fill in length" in hint


def test_keys_of_a_table_that_is_not_there(tmp_path: Path) -> None:
    made = folder(tmp_path, 'angle_format = "gon"\n', control=CONTROL)
    with pytest.raises(InputError) as caught:
        outcome(made)
    assert [problem.slug for problem in caught.value.problems] == [
        "missing-key",
        "conflicting-keys",
    ]


@pytest.mark.parametrize(
    ("loops", "slug", "says"),
    [
        ('[["A", "P", "Z"]]', "unknown-mark", '"Z"'),
        ('[["A", "P"]]', "open-loop", '"P" is no control point'),
        ('[["P", "A", "P"]]', "open-loop", "there and back over one vector"),
    ],
)
def test_links_that_close_on_nothing(tmp_path: Path, loops: str, slug: str, says: str) -> None:
    more = f'[[vectors]]\nname = "gps"\nfile = "v.csv"\nloops = {loops}\n'
    vectors = "from,to,dx,dy,dz\nA,P,50,60,1\nP,B,50,-60,0\nB,A,-100,0,-1\n"
    made = folder(tmp_path, 'use = ["gps"]\n', more=more, control=CONTROL, v=vectors)
    with pytest.raises(InputError) as caught:
        outcome(made)
    assert caught.value.problems[0].slug == slug
    assert says in caught.value.problems[0].message


def test_a_link_on_a_control_point_without_elevation(tmp_path: Path) -> None:
    more = '[[vectors]]\nname = "gps"\nfile = "v.csv"\nloops = [["A", "P", "C"]]\n'
    vectors = "from,to,dx,dy,dz\nA,P,50,60,1\nP,C,-30,30,0\n"
    made = folder(tmp_path, 'use = ["gps"]\n', more=more, control=CONTROL, v=vectors)
    with pytest.raises(InputError) as caught:
        outcome(made)
    assert {problem.slug for problem in caught.value.problems} >= {"no-elevation"}
