"""Level runs worked by hand; every figure is invented."""

import math
from typing import Any

import numpy as np
import pytest

from checker.errors import InputError, Problem
from checker.formulas import parse_formula
from checker.model.books import LevelBook, RiseBook
from checker.model.finding import Verdict
from checker.model.job import Adjust, Tolerance
from checker.units import LengthUnit
from checker.verdicts.judge import judge
from tests.support.books import comparison, level_book, levels, rise_book, summary, values

# Two set-ups from BM1 to BM2: 100 + 1.5 - 0.5 = 101.0, then + 2.0 - 1.2 = 101.8.
PAGE = [
    {"pt": "BM1", "bs": 1.5},
    {"pt": "curb", "is": 1.1},
    {"pt": "TP1", "fs": 0.5, "bs": 2.0, "distance": 60.0},
    {"pt": "sill", "is": 1.7},
    {"pt": "BM2", "fs": 1.2, "distance": 40.0},
]
MARKS = {"BM1": (0.0, 0.0, 100.0), "BM2": (0.0, 0.0, 101.79)}
RISES = [("BM1", "A", 2.0), ("A", "B", -0.5), ("B", "BM1", -1.494)]


def fault(book: LevelBook | RiseBook, **more: Any) -> Problem:
    with pytest.raises(InputError) as caught:
        levels(book, **more)
    assert len(caught.value.problems) == 1
    return caught.value.problems[0]


def limit(text: str) -> Tolerance:
    return Tolerance(name="t", misclosure=parse_formula(text, "length", LengthUnit.METRE))


def test_page_by_height_of_instrument() -> None:
    measure = levels(level_book(PAGE), known=MARKS, start="BM1", close="BM2")
    assert [str(name) for name in measure.id] == ["BM1", "curb", "TP1", "sill", "BM2"]
    np.testing.assert_allclose(values(measure, "elevation"), [100.0, 100.4, 101.0, 101.3, 101.8])
    np.testing.assert_allclose(values(measure, "hi")[[0, 2]], [101.5, 103.0])
    total = summary(measure)
    assert total["misclosure"] == pytest.approx(0.01)
    assert total["setups"] == 2
    assert total["distance"] == 100.0
    compared = comparison(measure, "misclosure")
    assert compared.value[0] == pytest.approx(0.01)
    assert compared.n == pytest.approx(2.0)
    assert compared.length_m == pytest.approx(100.0)
    assert measure.whole_undecided == ""
    assert "on bench mark BM2" in measure.remarks[0]
    assert "+10.0 mm" in measure.remarks[0]


@pytest.mark.parametrize(("allowed", "said"), [("5 mm", True), ("20 mm", False)])
def test_what_was_shared_out_beyond_the_limit_is_not_to_be_used(allowed: str, said: bool) -> None:
    measure = levels(
        level_book(PAGE),
        known=MARKS,
        start="BM1",
        close="BM2",
        adjust=Adjust.DISTANCE,
        tolerance=limit(allowed),
    )
    finding = judge(measure, np.empty(0, dtype=object), LengthUnit.METRE)
    assert (finding.verdict is Verdict.OUTSIDE) is said
    assert (
        any("nothing adjusted here is to be used" in each for each in finding.measure.remarks)
        is said
    )


def test_page_check_is_shown_with_its_figures() -> None:
    measure = levels(level_book(PAGE), known=MARKS, start="BM1", close="BM2")
    page = next(remark for remark in measure.remarks if remark.startswith("Page check"))
    for figure in ("3.5000 m", "1.7000 m", "+1.8000 m"):
        assert figure in page


def test_remarks_are_in_the_unit_of_the_job() -> None:
    book = level_book(PAGE, scale=0.3048)
    marks = {name: (n, e, z * 0.3048) for name, (n, e, z) in MARKS.items()}
    measure = levels(book, known=marks, start="BM1", close="BM2", unit=LengthUnit.FOOT)
    assert "+0.010 ft" in measure.remarks[0]


def test_adjusted_by_distance() -> None:
    measure = levels(
        level_book(PAGE), known=MARKS, start="BM1", close="BM2", adjust=Adjust.DISTANCE
    )
    # 60 of 100 m in the first set-up: its intermediate sight takes what its foresight takes.
    change = values(measure, "adjusted_elevation") - values(measure, "elevation")
    np.testing.assert_allclose(change, [0.0, -0.006, -0.006, -0.01, -0.01], atol=1e-12)


def test_adjusted_by_setups() -> None:
    measure = levels(level_book(PAGE), known=MARKS, start="BM1", close="BM2", adjust=Adjust.SETUPS)
    change = values(measure, "adjusted_elevation") - values(measure, "elevation")
    np.testing.assert_allclose(change, [0.0, -0.005, -0.005, -0.01, -0.01], atol=1e-12)
    assert any("number of set-ups" in remark for remark in measure.remarks)


def test_no_rule_gives_no_adjusted_elevations() -> None:
    measure = levels(level_book(PAGE), known=MARKS, start="BM1", close="BM2")
    assert np.all(np.isnan(values(measure, "adjusted_elevation")))


def test_differences_around_a_loop() -> None:
    measure = levels(rise_book(RISES, distance_m=[100, 200, 100], setups=[1, 2, 1]))
    assert [str(name) for name in measure.id] == ["BM1", "A", "B", "BM1"]
    np.testing.assert_allclose(values(measure, "elevation"), [100.0, 102.0, 101.5, 100.006])
    total = summary(measure)
    assert total["misclosure"] == pytest.approx(0.006)
    assert total["setups"] == 4
    assert total["distance"] == 400.0
    assert "where it began" in measure.remarks[0]


def test_differences_adjusted_by_distance_and_by_setups() -> None:
    book = rise_book(RISES, distance_m=[100, 200, 300], setups=[1, 3, 2])
    for rule, shares in ((Adjust.DISTANCE, [0, 1, 3, 6]), (Adjust.SETUPS, [0, 1, 4, 6])):
        measure = levels(book, adjust=rule)
        change = values(measure, "adjusted_elevation") - values(measure, "elevation")
        np.testing.assert_allclose(change, -0.001 * np.array(shares), atol=1e-12)


def test_forward_and_back_is_a_loop() -> None:
    page = [
        {"pt": "A", "bs": 2.0},
        {"pt": "B", "fs": 1.0, "bs": 1.1},
        {"pt": "A", "fs": 2.103},
    ]
    assert summary(levels(level_book(page)))["misclosure"] == pytest.approx(-0.003)


def test_elevation_stated_for_the_close() -> None:
    measure = levels(level_book(PAGE), close=101.82)
    assert summary(measure)["misclosure"] == pytest.approx(-0.02)
    assert "stated for BM2" in measure.remarks[0]


def test_open_run_is_undecided() -> None:
    measure = levels(level_book(PAGE), adjust=Adjust.SETUPS)
    assert "nothing proves it" in measure.whole_undecided
    assert math.isnan(summary(measure)["misclosure"])
    assert math.isnan(comparison(measure, "misclosure").value[0])
    assert np.all(np.isnan(values(measure, "adjusted_elevation")))
    assert values(measure, "elevation")[-1] == pytest.approx(101.8)


def test_open_run_that_ends_on_a_known_mark_says_so() -> None:
    measure = levels(level_book(PAGE), known=MARKS, start="BM1")
    assert 'close = "BM2"' in measure.whole_undecided
    assert any("BM2 on the way" in remark for remark in measure.remarks)


def test_distances_that_count_from_the_start_are_told() -> None:
    def says(distances: list[float]) -> bool:
        rows: list[dict[str, Any]] = [{"pt": "BM1", "bs": 1.5}]
        rows += [
            {"pt": f"TP{i}", "fs": 1.5, "bs": 1.5, "distance": each}
            for i, each in enumerate(distances[:-1])
        ]
        rows.append({"pt": "BM1", "fs": 1.5, "distance": distances[-1]})
        remarks = levels(level_book(rows), known=MARKS, start="BM1", close="BM1").remarks
        return any("grow from section" in text for text in remarks)

    assert says([60.0, 120.0, 190.0, 250.0])
    assert not says([60.0, 55.0, 70.0, 62.0])
    assert not says([60.0, 70.0, 80.0])


def test_bench_marks_met_on_the_way() -> None:
    known = MARKS | {"TP1": (0.0, 0.0, 100.985), "sill": (0.0, 0.0, math.nan)}
    measure = levels(level_book(PAGE), known=known, start="BM1", close="BM2")
    met = [remark for remark in measure.remarks if "on the way" in remark]
    assert met == ["Bench mark TP1 on the way: computed minus known +15.0 mm."]


@pytest.mark.parametrize(("allowed", "word"), [("12 mm", "undecided"), ("20 mm", "within")])
def test_a_bench_mark_missed_on_the_way_leaves_the_run_undecided(allowed: str, word: str) -> None:
    """It closes by 10 mm; the mark on the way lies 15 mm off."""
    known = MARKS | {"TP1": (0.0, 0.0, 100.985)}
    book = level_book(PAGE)
    measure = levels(book, known=known, start="BM1", close="BM2", tolerance=limit(allowed))
    finding = judge(measure, np.empty(0, dtype=object), LengthUnit.METRE)
    assert finding.verdict.word == word
    said = "bench mark TP1 on the way is missed by 15 mm, limit 12 mm"
    assert finding.reason == (said if word == "undecided" else "")


@pytest.mark.parametrize(
    ("text", "word"),
    [("12 mm * sqrt(km)", "distances"), ("3 mm * sqrt(n)", "set-ups"), ("10 mm", "")],
)
def test_tolerance_that_the_book_cannot_serve(text: str, word: str) -> None:
    measure = levels(rise_book(RISES), tolerance=limit(text))
    assert word in measure.whole_undecided
    assert bool(measure.whole_undecided) == bool(word)
    compared = comparison(measure, "misclosure")
    assert compared.n is not None
    assert compared.length_m is not None
    allowed = parse_formula(text, "length", LengthUnit.METRE).at(compared.n, compared.length_m)
    assert bool(np.isnan(allowed)) == bool(word)
    if word:
        assert compared.absent_verdict == int(Verdict.UNDECIDED)
        assert math.isnan(compared.value[0])
    else:
        assert compared.value[0] == pytest.approx(0.006)
    assert summary(measure)["misclosure"] == pytest.approx(0.006)


def test_distances_that_are_only_partly_there() -> None:
    measure = levels(rise_book(RISES, distance_m=[100, math.nan, 100]))
    assert math.isnan(summary(measure)["distance"])
    assert any("1 of 3 sections have no distance" in remark for remark in measure.remarks)


def test_distance_on_a_row_without_foresight_is_said() -> None:
    page = [*PAGE[:3], PAGE[3] | {"distance": 12.0}, PAGE[4]]
    measure = levels(level_book(page), known=MARKS, start="BM1", close="BM2")
    assert summary(measure)["distance"] == 100.0
    assert any("not counted" in remark for remark in measure.remarks)


# ---------------------------------------------------------------- faults


@pytest.mark.parametrize(
    ("more", "slug", "words"),
    [
        ({"start": "BM9"}, "unknown-control", "BM9"),
        ({"start": "BM2"}, "book-ends", "begins at"),
        ({"start": "BM1", "close": "TP9"}, "unknown-control", "TP9"),
        ({"start": "BM1", "close": "BM1"}, "book-ends", "ends at"),
        ({"adjust": Adjust.COMPASS}, "adjust", "compass"),
    ],
)
def test_job_and_book_that_do_not_fit(more: dict[str, Any], slug: str, words: str) -> None:
    problem = fault(level_book(PAGE), known=MARKS, **more)
    assert problem.slug == slug
    assert words in problem.message
    assert problem.hint


def test_bench_mark_without_an_elevation() -> None:
    problem = fault(level_book(PAGE), known={"BM1": (0.0, 0.0)}, start="BM1")
    assert problem.slug == "no-elevation"
    assert str(problem.where) == "control.csv:2"


def test_rule_that_the_book_cannot_serve() -> None:
    assert fault(rise_book(RISES), adjust=Adjust.DISTANCE).slug == "adjust"
    problem = fault(rise_book(RISES, setups=[1, math.nan, 2]), adjust=Adjust.SETUPS)
    assert "1 of 3" in problem.message


def test_sections_that_do_not_follow_each_other() -> None:
    problem = fault(rise_book([RISES[0], ("X", "B", 1.0), RISES[2]]))
    assert problem.slug == "broken-chain"
    assert problem.where.line == 3
    assert '"X"' in problem.message


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([PAGE[0] | {"fs": 1.0}, *PAGE[1:]], "first row"),
        ([*PAGE[:4], PAGE[4] | {"bs": 1.0}], "last row"),
        ([PAGE[0], {"pt": "TP1", "bs": 1.0}, *PAGE[2:]], "needs a foresight"),
        ([PAGE[0], PAGE[1] | {"fs": 1.0}, *PAGE[2:]], "stands alone"),
        ([PAGE[0], {"pt": "gap"}, *PAGE[2:]], "no reading"),
    ],
)
def test_pages_that_are_no_run(rows: list[dict[str, Any]], words: str) -> None:
    problem = fault(level_book(rows))
    assert problem.slug == "level-order"
    assert words in problem.message
    assert problem.where.line is not None


def test_empty_books() -> None:
    assert fault(level_book([])).slug == "no-sections"
    assert fault(level_book(PAGE[:1])).slug == "no-sections"
    assert fault(rise_book([])).slug == "no-sections"


def test_section_without_a_rise() -> None:
    assert fault(rise_book([("A", "B", math.nan)])).slug == "missing-value"
