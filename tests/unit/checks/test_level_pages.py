"""Pages of levels: their arithmetic, booked reductions, wires, collimation, sections run twice."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checker.checks.levels import measure_levels
from checker.errors import InputError, Where
from checker.formulas import parse_formula
from checker.model.inputs import Inputs
from checker.model.job import Adjust, Levels, Tolerance, TwoPeg
from checker.model.measure import Measure
from checker.read.files import Source
from checker.read.level_book import read_level_book
from checker.units import LengthUnit
from tests.support.books import comparison, summary, values

METRE = LengthUnit.METRE


def levels(text: str, *, start: float = 100.0, **more: object) -> Measure:
    book = read_level_book(Source(path="l.csv", data=text.encode()), unit=METRE, columns={})
    section = Levels(
        where=Where(file="job.toml", line=5),
        name="L",
        file="l.csv",
        unit=METRE,
        start=start,
        **more,  # type: ignore[arg-type]
    )
    return measure_levels(section, Inputs(files=(), books={"L": book}))


def cells(measure: Measure, key: str, name: str) -> list[float]:
    found = next(each for each in measure.supplements if each.key == key)
    return [float(v) for v in next(c for c in found.columns if c.key == name).values]


def page(measure: Measure) -> dict[str, float]:
    found = next(each for each in measure.supplements if each.key == "page")
    return dict(zip(found.id.tolist(), cells(measure, "page", "value"), strict=True))


RISE_AND_FALL = """Station,BS,IS,FS,Rise,Fall,Reduced level
A,1.505,,,,,100.000
1,,1.255,,0.250,,100.250
T,2.000,,1.755,,0.500,99.750
2,,1.500,,0.500,,100.250
B,,,1.497,0.003,,100.253
"""
COLLIMATION = """point;bs;is;fs;height of collimation;rl
A;1,500;;;51,500;50,000
P;;0,800;;;50,700
T;1,200;;1,000;51,700;50,500
Q;;1,100;;;50,600
B;;;1,000;;50,700
"""


def test_sums_of_a_page_agree_with_each_other() -> None:
    measure = levels(RISE_AND_FALL)
    sums = page(measure)
    assert sums["Sum of backsights"] == pytest.approx(3.505)
    assert sums["Sum of intermediate sights"] == pytest.approx(2.755)
    for name in ("Backsights minus foresights", "Rises minus falls", "Last minus first elevation"):
        assert sums[name] == pytest.approx(0.253)
    assert sums["Sum of elevations above the start"] == pytest.approx(0.503)
    assert sums["Heights of instrument times readings, less the readings"] == pytest.approx(0.503)
    assert measure.whole_undecided.startswith("the run ends on B")


@pytest.mark.parametrize(("text", "start"), [(RISE_AND_FALL, 100.0), (COLLIMATION, 50.0)])
def test_a_page_that_is_right_contradicts_nothing(text: str, start: float) -> None:
    measure = levels(text, start=start, close=start + (0.253 if start == 100.0 else 0.7))
    assert measure.whole_undecided == ""
    assert summary(measure)["misclosure"] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "old", "new", "says"),
    [
        (RISE_AND_FALL, "1.255,,0.250", "1.255,,0.350", "line 3, 1: rise booked 0.3500 m"),
        (RISE_AND_FALL, "0.500,99.750", "0.490,99.750", "line 4, T: fall booked 0.4900 m"),
        (RISE_AND_FALL, ",100.253", ",100.353", "line 6, B: elevation booked 100.3530 m"),
        (RISE_AND_FALL, ",,100.000", ",,101.000", "line 2, A: elevation booked 101.0000 m"),
        (COLLIMATION, "50,600", "50,650", "line 5, Q: elevation booked 50.6500 m"),
        (COLLIMATION, "51,700", "51,070", "line 4, T: height of instrument booked 51.0700 m"),
    ],
)
def test_a_slip_in_the_reduction_leaves_the_run_undecided(
    text: str, old: str, new: str, says: str
) -> None:
    assert old in text
    measure = levels(text.replace(old, new), start=100.0 if text == RISE_AND_FALL else 50.0)
    assert says in measure.whole_undecided
    assert any(text.startswith("L") and says[1:] in text for text in measure.remarks)


def test_rounding_to_the_digits_written_is_no_slip() -> None:
    text = "point,bs,is,fs,elevation\nA,1.5049,,,50.00\nP,,0.8025,,50.70\nB,,,1.0001,50.50\n"
    assert "contradicts" not in levels(text, start=50.0).whole_undecided
    worse = text.replace("50.70", "50.72")
    assert "P: elevation booked 50.7200 m" in levels(worse, start=50.0).whole_undecided


@settings(max_examples=50, deadline=None)
@given(st.data())
def test_one_planted_slip_is_found_at_its_row_and_nowhere_else(data: st.DataObject) -> None:
    count = data.draw(st.integers(2, 7))
    heights = data.draw(st.lists(st.integers(-900, 900), min_size=count, max_size=count))
    turning = data.draw(st.lists(st.booleans(), min_size=count - 1, max_size=count - 1))
    slip_row = data.draw(st.integers(1, count))
    slip = data.draw(st.sampled_from([-90, -1, 1, 9, 100]))
    elevation = [50_000, *(50_000 + h for h in heights)]
    instrument = 51_500
    rows = [f"A,{(instrument - 50_000) / 1e3:.3f},,,50.000"]
    for index in range(1, count + 1):
        stated = elevation[index] + (slip if index == slip_row else 0)
        reading = (instrument - elevation[index]) / 1e3
        if index == count:
            cells_ = f",,{reading:.3f}"
        elif turning[index - 1]:
            instrument = elevation[index] + 1400
            cells_ = f"1.400,,{reading:.3f}"
        else:
            cells_ = f",{reading:.3f},"
        rows.append(f"P{index},{cells_},{stated / 1e3:.3f}")
    text = "point,bs,is,fs,rl\n" + "\n".join(rows) + "\n"
    found = [r for r in levels(text, start=50.0).remarks if "booked" in r and "readings give" in r]
    # The next row is held against what was booked, so it shows the slip the other way round.
    assert found[0].startswith(f"Line {slip_row + 2}, P{slip_row}: elevation booked")
    assert len(found) <= 2


def test_known_elevations_on_a_page_are_no_reductions() -> None:
    """A book that gives the elevations of its bench marks alone: the run misses by 10 mm."""
    text = "point,bs,fs,elev\nBM1,1.500,,100.000\nT,1.200,1.000,\nU,1.1,1.2,\nBM2,,1.000,100.590\n"
    measure = levels(text, close=100.59)
    assert measure.whole_undecided == ""
    assert summary(measure)["misclosure"] == pytest.approx(0.01)
    full = text.replace("1.000,\nU,1.1,1.2,", "1.000,100.500\nU,1.1,1.2,100.500")
    assert levels(full, close=100.59).whole_undecided == ""
    assert "elevation booked" in levels(full, close=100.6).whole_undecided


# ---------------------------------------------------------------- wires and collimation


WIRES = """point,bs top,bs mid,bs bottom,fs top,fs mid,fs bottom
A,1.650,1.500,1.351,,,
T,1.700,1.600,1.500,1.450,1.250,1.048
A,,,,2.000,1.850,1.701
"""


def test_three_wires_give_the_reading_and_the_length_of_sight() -> None:
    measure = levels(WIRES)
    assert values(measure, "bs")[0] == pytest.approx((1.650 + 1.500 + 1.351) / 3)
    assert values(measure, "bs_distance")[:2] == pytest.approx([29.9, 20.0])
    assert values(measure, "fs_distance")[1:] == pytest.approx([40.2, 29.9])
    assert summary(measure)["distance"] == pytest.approx(29.9 + 40.2 + 20.0 + 29.9)
    wider = levels(WIRES, stadia=200.0)
    assert summary(wider)["distance"] == pytest.approx(240.0)


def test_a_misread_wire_leaves_the_run_undecided() -> None:
    measure = levels(WIRES.replace("1.250,1.048", "1.250,1.058"))
    assert "halves of the wire interval of the foresight differ by 8.0 mm" in (
        measure.whole_undecided
    )


@settings(max_examples=40, deadline=None)
@given(
    slope=st.floats(-2e-4, 2e-4),
    marks=st.lists(st.floats(-1.0, 1.0), min_size=3, max_size=6),
    data=st.data(),
)
def test_a_stated_collimation_takes_out_what_unbalanced_sights_put_in(
    slope: float, marks: list[float], data: st.DataObject
) -> None:
    sights = data.draw(
        st.lists(
            st.tuples(st.floats(5.0, 90.0), st.floats(5.0, 90.0)),
            min_size=len(marks),
            max_size=len(marks),
        )
    )
    height = [0.0, *marks]
    rows, foresight = [], ","
    for index, (to_back, to_fore) in enumerate(sights):
        back = 1.6 + slope * to_back
        fore = 1.6 + height[index] - height[index + 1] + slope * to_fore
        rows.append(f"M{index},{back:.9f},{to_back:.6f},{foresight}")
        foresight = f"{fore:.9f},{to_fore:.6f}"
    rows.append(f"M{len(marks)},,,{foresight}")
    text = "point,bs,bs distance,fs,fs distance\n" + "\n".join(rows) + "\n"
    found = values(levels(text, collimation=slope, start=0.0), "elevation")
    assert found == pytest.approx(height, abs=1e-6)
    plain = values(levels(text, start=0.0), "elevation")
    put_in = slope * np.cumsum([0.0, *(back - fore for back, fore in sights)])
    assert plain == pytest.approx(np.array(height) + put_in, abs=1e-6)


def test_the_two_peg_test_gives_the_collimation() -> None:
    """By hand: 0.002 m too much over 40 m, the far reading too small: the line falls."""
    peg = TwoPeg(rise_m=0.2, end_m=(1.6, 1.398), sights_m=(4.0, 44.0))
    assert peg.collimation == pytest.approx(-0.002 / 40.0)


def test_a_collimation_needs_the_lengths_of_all_sights() -> None:
    with pytest.raises(InputError) as caught:
        levels(RISE_AND_FALL, collimation=1e-5)
    assert caught.value.problems[0].slug == "no-sight-lengths"


# ---------------------------------------------------------------- sections run twice


IN_ONE_ROW = "from,to,rise,rise back,distance\nA,B,1.502,-1.496,400\nB,C,1.500,-1.504,900\n"
THERE_AND_BACK = (
    "from,to,rise,distance\nA,B,1.502,400\nB,A,-1.496,400\nB,C,1.500,900\nC,B,-1.504,900\n"
)
OUT_AND_HOME = (
    "from,to,rise,distance\nA,B,1.502,400\nB,C,1.500,900\nC,B,-1.504,900\nB,A,-1.496,400\n"
)


@pytest.mark.parametrize("text", [IN_ONE_ROW, THERE_AND_BACK, OUT_AND_HOME])
def test_the_two_runnings_of_a_section_are_compared(text: str) -> None:
    measure = levels(text, start=10.0)
    assert sorted(cells(measure, "sections", "disagreement")) == pytest.approx([-0.004, 0.006])
    assert summary(measure)["section_disagreement"] == pytest.approx(0.006)


@pytest.mark.parametrize("text", [IN_ONE_ROW, THERE_AND_BACK])
def test_the_run_goes_by_the_means(text: str) -> None:
    measure = levels(text, start=10.0, close=13.0, adjust=Adjust.DISTANCE)
    assert measure.id.tolist() == ["A", "B", "C"]
    assert values(measure, "elevation") == pytest.approx([10.0, 11.499, 13.001])
    assert summary(measure)["distance"] == pytest.approx(1300.0)


def test_the_section_that_uses_most_of_its_limit_is_judged() -> None:
    limit = parse_formula("8 mm * sqrt(km)", "length", METRE)
    measure = levels(IN_ONE_ROW, start=10.0, tolerance=Tolerance(name="", section=limit))
    found = comparison(measure, "section")
    assert found.label == "Two runnings of A to B"
    assert found.value[0] == pytest.approx(0.006)
    assert found.length_m is not None
    assert found.length_m[0] == pytest.approx(400.0)
    assert cells(measure, "sections", "allowed") == pytest.approx(
        [0.008 * 0.4**0.5, 0.008 * 0.9**0.5]
    )


def test_a_page_run_out_and_home_pairs_its_marks_not_its_turning_points() -> None:
    text = "point,bs,is,fs\nBM1,1.0,,\nTP1,1.5,,0.5\nBM2,2.0,,1.0\nTP2,0.4,,1.5\nBM1,,,1.893\n"
    measure = levels(text)
    found = next(each for each in measure.supplements if each.key == "sections")
    assert found.id.tolist() == ["BM1–BM2"]
    assert cells(measure, "sections", "disagreement") == pytest.approx([1.0 - 0.993])


def test_a_mark_that_is_reached_again_is_said() -> None:
    text = "from,to,rise\nA,B,1.0\nB,C,1.0\nC,B,-1.004\nB,D,2.0\n"
    assert "B was reached again: later minus earlier -4.0 mm." in levels(text).remarks


def test_a_fall_in_its_own_column_counts_down() -> None:
    measure = levels("from,to,rise,fall\nA,B,1.25,\nB,C,,0.75\nC,D,0,0.2\n")
    assert values(measure, "elevation") == pytest.approx([100.0, 101.25, 100.5, 100.3])


@pytest.mark.parametrize(
    ("text", "slug", "line"),
    [
        ("from,to,rise,rise back\nA,B,1.5,1.502\n", "same-sign", 2),
        ("from,to,rise,fall\nA,B,1.5,0.2\n", "two-directions", 2),
        (WIRES.replace("1.450,1.250,1.048", "1.250,1.450,1.048"), "wire-order", 3),
        (WIRES.replace("1.450,1.250,1.048", "1.450,1.250,"), "missing-value", 3),
    ],
)
def test_rows_at_fault_are_named(text: str, slug: str, line: int) -> None:
    with pytest.raises(InputError) as caught:
        levels(text)
    assert [(p.slug, p.where.line) for p in caught.value.problems] == [(slug, line)]
