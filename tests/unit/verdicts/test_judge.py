"""Comparing a measure with its tolerance."""

from dataclasses import replace

import numpy as np
import pytest

from checker.errors import InputError
from checker.formulas import parse_formula
from checker.model.arrays import FloatArray
from checker.model.finding import Finding, Verdict
from checker.model.job import Rule, Tolerance
from checker.model.measure import Comparison, Item, Measure, Quantity
from checker.units import ARCSEC, Formula, LengthUnit
from checker.verdicts.judge import judge
from tests.support.measures import measure_of
from tests.support.points import HERE, texts, tolerance

METRE, FOOT = LengthUnit.METRE, LengthUnit.FOOT


def numbers(*values: float) -> FloatArray:
    return np.array(values, dtype=np.float64)


def comparison(
    limit: str, *values: float, sigma: float | None = None, **more: object
) -> Comparison:
    plain = Comparison(
        limit=limit,
        label=limit,
        value=numbers(*values),
        sigma=None if sigma is None else np.full(len(values), sigma),
    )
    return replace(plain, **more)  # type: ignore[arg-type]


def plan(*offsets: tuple[float, float], sigma: tuple[float, float] | None = None) -> Comparison:
    vector = np.array(offsets, dtype=np.float64)
    each = None if sigma is None else np.broadcast_to(np.array(sigma), vector.shape)
    return Comparison(
        limit="horizontal",
        label="horizontal",
        value=np.hypot(vector[:, 0], vector[:, 1]),
        sigma=None if sigma is None else np.full(len(vector), np.hypot(*sigma)),
        vector=vector,
        vector_sigma=each,
    )


def judged(item: Measure, doubts: list[str] | None = None, unit: LengthUnit = METRE) -> Finding:
    return judge(item, texts(doubts or [""] * len(item.id)), unit)


def words(finding: Finding) -> list[str]:
    return [Verdict(int(code)).word for code in finding.row_verdict]


def test_simple_rule_at_the_limit_is_within() -> None:
    limit = tolerance(vertical=0.02)
    values = (0.0, 0.02, -0.02, 0.1 + 0.2 - 0.28, 0.0200005, 0.02001, -0.02001)
    finding = judged(measure_of(comparison("vertical", *values), limit=limit))
    assert words(finding) == ["within"] * 5 + ["outside"] * 2
    assert finding.verdict is Verdict.OUTSIDE


def test_the_two_sides_of_a_height() -> None:
    limit = tolerance(above=0.0, below=0.04)
    finding = judged(measure_of(comparison("vertical", 0.001, -0.03, -0.041, 0.0), limit=limit))
    assert words(finding) == ["outside", "within", "outside", "within"]
    assert finding.row_reason[0] == "vertical 1 mm high, limit 0 mm"
    assert finding.row_reason[2] == "vertical 41 mm low, limit 40 mm"
    assert {item.key: item.value for item in finding.summary} == {
        "allowed_above": 0.0,
        "allowed_below": 0.04,
    }


def test_a_side_without_a_limit_is_unlimited() -> None:
    finding = judged(measure_of(comparison("vertical", -5.0), limit=tolerance(above=0.01)))
    assert words(finding) == ["within"]
    assert finding.row_share[0] == 0.0


def test_the_tighter_of_both_sides_and_one_side_governs() -> None:
    limit = tolerance(vertical=0.02, above=0.01)
    finding = judged(measure_of(comparison("vertical", 0.015, -0.015), limit=limit))
    assert words(finding) == ["outside", "within"]


def test_left_and_right() -> None:
    limit = tolerance(left=0.01, right=0.03)
    finding = judged(measure_of(comparison("across", 0.02, -0.02), limit=limit))
    assert words(finding) == ["within", "outside"]
    assert finding.row_reason[1] == "across 20 mm left, limit 10 mm"


def test_horizontal_is_a_radius() -> None:
    finding = judged(
        measure_of(plan((0.009, 0.012), (0.012, 0.012)), limit=tolerance(horizontal=0.015))
    )
    assert words(finding) == ["within", "outside"]
    np.testing.assert_allclose(finding.row_share, [1.0, 0.016971 / 0.015], rtol=1e-4)


def test_guarded_rule_has_three_outcomes() -> None:
    limit = tolerance(vertical=0.030, rule=Rule.GUARDED)
    values = (0.010, 0.0100004, 0.011, 0.049, 0.0500004, 0.051, -0.051, -0.009)
    finding = judged(measure_of(comparison("vertical", *values, sigma=0.010), limit=limit))
    assert words(finding) == [
        "within",
        "within",
        "undecided",
        "undecided",
        "undecided",
        "outside",
        "outside",
        "within",
    ]
    assert finding.row_reason[2] == ("vertical 11 ± 20 mm high, limit 30 mm: too close to say")
    assert finding.row_reason[5] == "vertical 51 ± 20 mm high, limit 30 mm"
    np.testing.assert_allclose(finding.judgements[0].guard, 0.020)


def test_k_of_the_tolerance() -> None:
    limit = tolerance(vertical=0.030, rule=Rule.GUARDED, k=1.0)
    finding = judged(measure_of(comparison("vertical", 0.019, sigma=0.010), limit=limit))
    assert words(finding) == ["within"]


def test_guarded_horizontal_takes_the_radial_sigma() -> None:
    limit = tolerance(horizontal=0.030, rule=Rule.GUARDED)
    offsets = plan((0.0, 0.019), (0.0, 0.021), sigma=(0.003, 0.004))
    finding = judged(measure_of(offsets, limit=limit))
    assert words(finding) == ["within", "undecided"]


def test_a_method_that_cannot_prove_the_tolerance_says_so() -> None:
    # The site report's case: tolerance 15 mm, standard uncertainty 18 mm.
    limit = tolerance(vertical=0.015, rule=Rule.GUARDED)
    finding = judged(measure_of(comparison("vertical", 0.0, sigma=0.018), limit=limit))
    assert words(finding) == ["undecided"]
    assert finding.row_reason[0].endswith("too uncertain to prove it")


def test_guarded_without_a_sigma_is_undecided_even_far_off() -> None:
    limit = tolerance(vertical=0.030, rule=Rule.GUARDED)
    finding = judged(measure_of(comparison("vertical", 0.01, 3.0), limit=limit))
    assert words(finding) == ["undecided", "undecided"]
    assert finding.row_reason[1] == (
        "vertical 3.000 m high, limit 0.030 m, but no standard deviation is shown"
    )


def test_guarded_with_sigma_zero_is_the_simple_rule() -> None:
    limit = tolerance(vertical=0.030, rule=Rule.GUARDED)
    finding = judged(measure_of(comparison("vertical", 0.030, 0.0301, sigma=0.0), limit=limit))
    assert words(finding) == ["within", "outside"]


def test_the_uncertainty_that_matters_is_never_printed_as_nothing() -> None:
    limit = tolerance(vertical=0.030, rule=Rule.GUARDED)
    finding = judged(measure_of(comparison("vertical", 0.030, sigma=0.0001), limit=limit))
    assert finding.row_reason[0].startswith("vertical 30.0 ± 0.2 mm high, limit 30.0 mm")


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (0.041 * 0.3048, FOOT, "horizontal 0.041 ft, limit 0.030 ft"),
        (0.0301 * 0.3048, FOOT, "horizontal 0.0301 ft, limit 0.0300 ft"),
        (0.041 * 1200 / 3937, LengthUnit.US_SURVEY_FOOT, "horizontal 0.041 ft, limit 0.030 ft"),
        (0.0123, METRE, "horizontal 12 mm, limit 9 mm"),
    ],
)
def test_reasons_are_in_the_unit_of_the_job(value: float, unit: LengthUnit, text: str) -> None:
    limit = tolerance(horizontal=0.03 * unit.metres if unit is not METRE else 0.009)
    finding = judged(measure_of(plan((value, 0.0)), limit=limit), unit=unit)
    assert finding.row_reason[0] == text


def test_close_is_a_mark_on_within() -> None:
    limit = tolerance(vertical=0.02)
    finding = judged(measure_of(comparison("vertical", 0.016, 0.0161, 0.021), limit=limit))
    assert finding.row_close.tolist() == [False, True, False]
    assert not finding.close
    calm = judged(measure_of(comparison("vertical", 0.0161), limit=limit))
    assert calm.close
    assert calm.share == pytest.approx(0.805)
    assert calm.reason == ""


def test_no_tolerance_is_unchecked() -> None:
    finding = judged(measure_of(comparison("vertical", 0.0), limit=None))
    assert words(finding) == ["unchecked"]
    assert finding.row_reason[0] == "no tolerance stated"
    assert np.isnan(finding.row_share[0])


def test_a_tolerance_of_something_else_is_unchecked() -> None:
    finding = judged(measure_of(comparison("vertical", 0.0), limit=tolerance(horizontal=0.01)))
    assert words(finding) == ["unchecked"]
    assert finding.row_reason[0] == "no limit stated for what was measured"


def absent_heights() -> Measure:
    height = comparison(
        "vertical",
        np.nan,
        np.nan,
        np.nan,
        absent=texts(["the design gives no elevation", "no elevation was measured", "none"]),
        absent_verdict=np.array([1, 2, 1], dtype=np.int8),
    )
    both = (plan((0.0, 0.0), (0.0, 0.0), (1.0, 0.0)), height)
    return measure_of(*both, limit=tolerance(horizontal=0.01, vertical=0.01))


def test_an_absent_component_is_never_a_pass_nor_hides_a_failure() -> None:
    finding = judged(absent_heights())
    assert words(finding) == ["unchecked", "undecided", "outside"]
    assert finding.row_reason.tolist() == [
        "the design gives no elevation",
        "no elevation was measured",
        "horizontal 1.000 m, limit 0.010 m; none",
    ]


def test_an_absent_component_that_is_not_limited_does_not_matter() -> None:
    item = replace(absent_heights(), tolerance=tolerance(horizontal=0.01))
    assert words(judged(item)) == ["within", "within", "outside"]


def test_doubts_make_rows_undecided_even_those_outside() -> None:
    limit = tolerance(vertical=0.02)
    item = measure_of(comparison("vertical", 0.0, 0.5, 0.0), limit=limit)
    item = replace(item, unchecked=texts(["", "", "excluded: bad pole"]))
    finding = judged(item, ["pdop 5.2 over 4.0", "pdop 5.2 over 4.0", "pdop 5.2 over 4.0"])
    assert words(finding) == ["undecided", "undecided", "unchecked"]
    assert finding.row_reason.tolist() == [
        "pdop 5.2 over 4.0",
        "pdop 5.2 over 4.0; vertical 500 mm high, limit 20 mm",
        "excluded: bad pole",
    ]


def test_a_row_rests_on_all_its_shots() -> None:
    limit = tolerance(vertical=0.02)
    item = measure_of(comparison("vertical", 0.0, 0.0, 0.0), limit=limit)
    item = replace(item, shots=np.array([[0, 1], [1, -1], [0, 2]]))
    finding = judged(item, ["a", "b", "a"])
    assert finding.row_reason.tolist() == ["a; b", "b", "a"]


def test_unchecked_rows_show_no_verdict_of_their_components() -> None:
    item = measure_of(comparison("vertical", 0.0, sigma=0.01), limit=tolerance(vertical=0.02))
    finding = judged(replace(item, unchecked=texts(["excluded: bumped"])))
    assert finding.judgements[0].verdict.tolist() == [Verdict.UNCHECKED]
    assert np.isnan(finding.row_share[0])
    assert np.isnan(finding.p_within[0])


def test_what_must_be_said_stands_behind_the_reason() -> None:
    item = measure_of(comparison("vertical", 0.0, 0.5), limit=tolerance(vertical=0.02))
    finding = judged(replace(item, said=texts(["nearest is 105"] * 2)))
    assert finding.row_reason.tolist() == [
        "nearest is 105",
        "vertical 500 mm high, limit 20 mm; nearest is 105",
    ]
    assert words(finding) == ["within", "outside"]


def test_only_counted_rows_make_the_verdict_of_the_check() -> None:
    item = measure_of(comparison("vertical", 0.0, 0.5), limit=tolerance(vertical=0.02))
    finding = judged(replace(item, counted=np.array([True, False])))
    assert words(finding) == ["within", "outside"]
    assert finding.verdict is Verdict.WITHIN
    assert finding.share == 0.0


def test_a_check_without_counted_rows_is_unchecked() -> None:
    item = measure_of(comparison("vertical", 0.0), limit=tolerance(vertical=0.02))
    finding = judged(replace(item, counted=np.array([False])))
    assert (finding.verdict, finding.reason) == (Verdict.UNCHECKED, "nothing to judge yet")
    empty = measure_of(comparison("vertical"), limit=tolerance(vertical=0.02))
    finding = judged(replace(empty, whole_unchecked="no mark was shot more than once"))
    assert (finding.verdict, finding.reason) == (
        Verdict.UNCHECKED,
        "no mark was shot more than once",
    )


def test_the_reason_of_a_check_names_the_worst() -> None:
    item = measure_of(
        comparison("vertical", 0.03, 0.5, 0.0, 0.04, 0.05, 0.06), limit=tolerance(vertical=0.02)
    )
    assert judged(item).reason == (
        "102: vertical 500 mm high, limit 20 mm; also outside: 106, 105, 2 more"
    )


def test_p_within_is_the_product_of_independent_components() -> None:
    from scipy.stats import ncx2, norm

    limit = tolerance(horizontal=0.015, above=0.02)
    both = (
        plan((0.005, 0.004), sigma=(0.008, 0.008)),
        comparison("vertical", 0.01, sigma=0.012),
    )
    p = judged(measure_of(*both, limit=limit)).p_within[0]
    in_plan = ncx2.cdf((15 / 8) ** 2, 2, (5 / 8) ** 2 + (4 / 8) ** 2)
    assert p == pytest.approx(in_plan * norm.cdf((0.02 - 0.01) / 0.012), abs=1e-9)


def test_p_within_needs_the_sigma_of_every_limited_component() -> None:
    both = (plan((0.0, 0.0), sigma=(0.008, 0.008)), comparison("vertical", 0.01))
    limit = tolerance(horizontal=0.015, vertical=0.02)
    assert np.isnan(judged(measure_of(*both, limit=limit)).p_within[0])
    only_plan = replace(limit, vertical=None)
    assert judged(measure_of(*both, limit=only_plan)).p_within[0] > 0.8


# ---------------------------------------------------------------- checks judged as one


def closure(*comparisons: Comparison, limit: Tolerance | None, **more: object) -> Finding:
    item = replace(
        measure_of(*comparisons, limit=limit, rows=0),
        judged_by_row=False,
        **more,  # type: ignore[arg-type]
    )
    return judge(item, texts([]), METRE)


def test_a_closure_ratio() -> None:
    good = closure(comparison("ratio", 1 / 10000), limit=tolerance(ratio=10000.0))
    assert good.verdict is Verdict.WITHIN
    assert good.share == pytest.approx(1.0)
    assert good.close
    bad = closure(comparison("ratio", 1 / 8200.4), limit=tolerance(ratio=10000.0))
    assert bad.verdict is Verdict.OUTSIDE
    assert bad.reason == "ratio 1:8,200, short of 1:10,000"
    near = closure(comparison("ratio", 1 / 9999.9999), limit=tolerance(ratio=10000.0))
    assert near.reason == "ratio 1:9,999, short of 1:10,000"
    perfect = closure(comparison("ratio", 0.0), limit=tolerance(ratio=10000.0))
    assert perfect.verdict is Verdict.WITHIN


def test_an_angular_misclosure_by_a_formula() -> None:
    allowed = Tolerance(name="t", angular=parse_formula("20 arcsec * sqrt(n)", "angle", METRE))
    at = numbers(4.0)
    good = closure(comparison("angular", -40.0 * ARCSEC, n=at), limit=allowed)
    bad = closure(comparison("angular", -40.01 * ARCSEC, n=at), limit=allowed)
    assert (good.verdict, bad.verdict) == (Verdict.WITHIN, Verdict.OUTSIDE)
    assert bad.reason == "angular 40.01″, limit 40.00″"
    allowable = {item.key: item.value for item in bad.summary}["angular_allowable_arcsec"]
    assert allowable == pytest.approx(40.0 * ARCSEC)


def test_a_misclosure_by_the_length_of_the_line() -> None:
    allowed = Tolerance(name="t", misclosure=parse_formula("12 mm * sqrt(km)", "length", METRE))
    good = closure(comparison("misclosure", -0.024, length_m=numbers(4000.0)), limit=allowed)
    bad = closure(comparison("misclosure", 0.0242, length_m=numbers(4000.0)), limit=allowed)
    assert (good.verdict, bad.verdict) == (Verdict.WITHIN, Verdict.OUTSIDE)
    assert {item.key: item.value for item in good.summary}["allowable"] == pytest.approx(0.024)


def test_the_worst_of_several_and_what_the_check_says() -> None:
    both = (comparison("misclosure", 1.0), comparison("ratio", 1 / 20000))
    finding = closure(
        *both,
        limit=tolerance(misclosure=0.1, ratio=10000.0),
        whole_undecided="the foresight was not observed",
    )
    assert finding.verdict is Verdict.OUTSIDE
    assert finding.reason == ("misclosure 1.000 m, limit 0.100 m; the foresight was not observed")
    assert finding.row_verdict.size == 0


def test_a_closure_without_a_tolerance_still_names_what_could_be_allowed() -> None:
    finding = closure(comparison("ratio", 1 / 20000), limit=None)
    assert (finding.verdict, finding.reason) == (Verdict.UNCHECKED, "no tolerance stated")
    assert [(item.key, item.value) for item in finding.summary] == [("ratio_required", None)]


def test_the_check_s_own_summary_is_not_repeated() -> None:
    own = Item(key="ratio_required", label="x", quantity=Quantity.RATIO, value=5.0)
    finding = closure(
        comparison("ratio", 1 / 20000), limit=tolerance(ratio=10000.0), summary=(own,)
    )
    assert finding.summary == (own,)


def test_a_limit_that_cannot_be_taken_is_a_fault_of_the_job() -> None:
    per_length = Formula(per_length=50e-6, constant=0.02, text="2 cm + 50 ppm")
    limit = Tolerance(name="boundary", vertical=per_length)
    with pytest.raises(InputError, match=r"boundary.*vertical.*2 cm \+ 50 ppm") as caught:
        judged(measure_of(comparison("vertical", 0.0), limit=limit))
    assert caught.value.problems[0].slug == "tolerance-unusable"
    assert caught.value.problems[0].where == HERE


def test_a_length_that_is_not_known_is_undecided() -> None:
    limit = Tolerance(name="t", misclosure=Formula(per_sqrt_km=0.012, text="12 mm * sqrt(km)"))
    finding = closure(comparison("misclosure", 0.0, length_m=numbers(np.nan)), limit=limit)
    assert finding.verdict is Verdict.UNDECIDED
    assert finding.reason == "misclosure: its limit cannot be worked out"


def test_a_value_at_its_limit_uses_all_of_it_and_no_more() -> None:
    # 0.1 + 0.2 is not 0.3 in binary fractions; both sides, and what must be at least so much
    limit = tolerance(vertical=0.3)
    finding = judged(measure_of(comparison("vertical", 0.1 + 0.2, -(0.1 + 0.2), 0.2), limit=limit))
    assert finding.row_share.tolist()[:2] == [1.0, 1.0]
    assert finding.row_share[2] == pytest.approx(2.0 / 3.0)
    assert finding.verdict is Verdict.WITHIN
