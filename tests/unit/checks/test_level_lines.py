"""Level lines that make a net, against the published case and against loops summed by hand."""

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from checker.checks.levels import measure_levels
from checker.errors import InputError, Where
from checker.formulas import parse_formula
from checker.model.inputs import Inputs
from checker.model.job import Adjust, Levels, Tolerance
from checker.model.measure import Measure
from checker.units import LengthUnit
from tests.support.books import comparison, control_points, rise_book, values

CASE = Path(__file__).parents[2] / "published" / "closures" / "ls-level-ghilani12.toml"
FOOT, MILE = LengthUnit.FOOT, 1609.344
LINES = [
    ("X", "A", 5.1, 4),
    ("A", "Y", 2.34, 3),
    ("Y", "C", -1.25, 2),
    ("C", "X", -6.13, 3),
    ("A", "B", -0.68, 2),
    ("Y", "B", -3.0, 2),
    ("B", "C", 1.7, 2),
]


def net(
    lines: list[tuple[str, str, float, float]] | None = None,
    *,
    known: dict[str, float] | None = None,
    distances: bool = True,
    setups: bool = False,
    **more: Any,
) -> Measure:
    rows = lines or LINES
    length = [row[3] * MILE for row in rows] if distances else None
    book = rise_book(
        [(a, b, d * 0.3048) for a, b, d, _ in rows],
        distance_m=length,
        setups=[row[3] for row in rows] if setups else None,
    )
    given: dict[str, Any] = {"start": "X", "close": "Y", "adjust": Adjust.LEAST_SQUARES} | more
    section = Levels(
        where=Where(file="job.toml", line=3), name="L", file="l.csv", unit=FOOT, **given
    )
    marks = {"X": 100.0, "Y": 107.5} if known is None else known
    control = control_points({name: (0.0, 0.0, z * 0.3048) for name, z in marks.items()})
    return measure_levels(section, Inputs(files=(), control=control, books={"L": book}))


def adjusted(measure: Measure) -> dict[str, float]:
    feet = values(measure, "adjusted_elevation") / 0.3048
    return dict(zip(measure.id.tolist(), feet.tolist(), strict=True))


@pytest.mark.parametrize(
    ("which", "more"),
    [
        ("weighted", {}),
        ("weighted", {"distances": False, "setups": True}),
        ("unweighted", {"distances": False}),
    ],
)
def test_seven_lines_between_two_bench_marks(which: str, more: dict[str, Any]) -> None:
    """ls-level-ghilani12 (MEMORY: recalled, not seen)."""
    case = tomllib.loads(CASE.read_text(encoding="utf-8"))
    expected = {entry["name"]: entry for entry in case["expected"]}
    found = adjusted(net(**more))
    for mark in "ABC":
        entry = expected[f"{which}.{mark}"]
        assert abs(found[mark] - entry["value"]) <= entry["tol"]


def test_loops_are_closed_raw_and_the_one_that_uses_most_is_judged() -> None:
    tolerance = Tolerance(name="t", misclosure=parse_formula("0.05 ft * sqrt(mi)", "length", FOOT))
    measure = net(tolerance=tolerance)
    loops = next(each for each in measure.supplements if each.key == "loops")
    miss = next(c.values for c in loops.columns if c.key == "misclosure").astype(float) / 0.3048
    # By hand: X-A-Y 5.10 + 2.34 - 7.50; Y-C-X -1.25 - 6.13 + 7.50; and two loops over B.
    assert loops.id.tolist()[:2] == ["X-A-Y", "Y-C-X"]
    assert miss[:2] == pytest.approx([-0.06, 0.12])
    # Lines less free marks: as many loops as there are lines more than needed.
    assert len(miss) == 7 - 3
    compared = comparison(measure, "misclosure")
    assert compared.label == "Misclosure Y-C-X"
    assert compared.value[0] / 0.3048 == pytest.approx(0.12)
    assert compared.length_m is not None
    assert compared.length_m[0] == pytest.approx(5 * MILE)


def test_planted_errors_come_back_in_the_loops() -> None:
    rng = np.random.default_rng(3)
    height = dict(zip("XABCDEY", rng.uniform(90, 120, 7), strict=True))
    pairs = ["XA", "AB", "BC", "CX", "BD", "DE", "EC", "EY", "BD"]
    rows = [(p[0], p[1], height[p[1]] - height[p[0]], 1.0) for p in pairs]
    rows[4] = (*rows[4][:2], rows[4][2] + 0.037, 1.0)
    measure = net(rows, known={"X": height["X"], "Y": height["Y"]})
    loops = next(each for each in measure.supplements if each.key == "loops")
    miss = next(c.values for c in loops.columns if c.key == "misclosure").astype(float) / 0.3048
    through = [abs(each) > 1e-9 for each in miss]
    assert sum(through) >= 2
    assert np.abs(miss[through]) == pytest.approx(0.037, abs=1e-6)


def test_a_chain_stays_a_run_and_other_rules_want_one() -> None:
    chain = [("X", "A", 5.1, 4.0), ("A", "Y", 2.34, 3.0)]
    assert "mark" not in {column.key for column in net(chain).columns}
    with pytest.raises(InputError) as caught:
        net(adjust=Adjust.DISTANCE)
    (problem,) = caught.value.problems
    assert problem.slug == "broken-chain"
    assert "least-squares" in problem.hint


def test_lines_that_nothing_proves_are_undecided() -> None:
    tree = [("X", "A", 1.0, 1.0), ("X", "B", 2.0, 1.0), ("B", "C", 1.0, 1.0)]
    measure = net(tree, known={"X": 100.0}, close=None)
    assert "nothing proves" in measure.whole_undecided
    assert adjusted(measure)["C"] == pytest.approx(103.0)


def test_a_piece_that_no_bench_mark_reaches_is_named() -> None:
    pieces = [("X", "A", 1.0, 1.0), ("P", "Q", 2.0, 1.0), ("A", "Y", 6.5, 1.0)]
    with pytest.raises(InputError) as caught:
        net(pieces)
    assert "P, Q" in caught.value.problems[0].message


def test_a_stated_end_is_held_and_an_unknown_one_refused() -> None:
    measure = net(known={"Y": 107.5}, start=100.0 * 0.3048)
    marks = dict(zip(measure.id, measure.column("mark").values, strict=True))
    assert marks["X"] == marks["Y"] == "held"
    with pytest.raises(InputError) as caught:
        net(start="Z")
    assert caught.value.problems[0].slug == "unknown-control"


def test_a_limit_that_needs_what_the_lines_lack_leaves_it_undecided() -> None:
    tolerance = Tolerance(name="t", misclosure=parse_formula("3 mm * sqrt(n)", "length", FOOT))
    measure = net(tolerance=tolerance)
    compared = comparison(measure, "misclosure")
    assert compared.absent is not None
    assert "number of set-ups" in compared.absent[0]


@pytest.mark.parametrize("length", [0.0, 1e-300, 1e300])
def test_a_line_of_no_length_or_of_any_leaves_the_equations_their_digits(length: float) -> None:
    lines = [(*row[:3], length if number == 2 else row[3]) for number, row in enumerate(LINES)]
    found = adjusted(net(lines))
    assert all(np.isfinite(list(found.values())))
    assert found["X"] == pytest.approx(100.0)
