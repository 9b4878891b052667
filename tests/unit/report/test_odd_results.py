"""Results at the edges of what the checks can hand over: each gives a whole report."""

from dataclasses import replace

import numpy as np
import pytest

from checker.model.finding import Results
from checker.model.measure import Item, Measure
from checker.report.render import render
from checker.report.results_json import results_document, results_text
from checker.verdicts.judge import judge
from tests.unit.report import factory


def report_of(*measures: Measure) -> dict[str, bytes]:
    results = factory.make()
    measured = results.inputs.measured
    assert measured is not None
    findings = tuple(judge(measure, results.doubts, factory.UNIT) for measure in measures)
    odd = factory.results_of(findings, measured, results.doubts)
    files = render(odd)
    assert render(odd, single_file=True).keys() < {*files, "manifest.json"} | {"index.html"}
    return files


def stake(count: int, *, kind: str = "stakeout", **changes: object) -> Measure:
    place = np.full(count, 100.0)
    measure = factory.stake_measure(
        "Odd",
        factory.tolerance("t", horizontal="0.03 ft", vertical="0.03 ft"),
        [str(number) for number in range(count)],
        (place, place, place),
        (place + 0.001, place, place - 0.001),
        np.arange(count),
        kind=kind,
    )
    return replace(measure, **changes)  # type: ignore[arg-type]


def empty(measure: Measure) -> Measure:
    """Return a measure without rows."""

    def none(values: np.ndarray) -> np.ndarray:
        return values[:0]

    return replace(
        measure,
        id=none(measure.id),
        columns=tuple(replace(c, values=none(c.values)) for c in measure.columns),
        comparisons=tuple(replace(c, value=none(c.value)) for c in measure.comparisons),
        shots=none(measure.shots),
        unchecked=none(measure.unchecked),
        undecided=none(measure.undecided),
        said=none(measure.said),
        counted=none(measure.counted),
        whole_unchecked="no mark was shot twice",
    )


def blanked(measure: Measure, *keys: str) -> Measure:
    """Return a measure whose summary lacks the values of those keys."""
    return replace(
        measure,
        summary=tuple(
            Item(key=i.key, label=i.label, quantity=i.quantity, value=None) if i.key in keys else i
            for i in measure.summary
        ),
    )


def test_a_single_stake() -> None:
    assert b"Within tolerance" in report_of(stake(1))["index.html"]


def test_several_stakes_at_one_place() -> None:
    assert b"All 12 within tolerance" in report_of(stake(12))["index.html"]


def test_stakes_without_a_tolerance_are_unchecked() -> None:
    files = report_of(stake(9, tolerance=None))
    assert b"9 of 9 unchecked" in files["index.html"]
    assert b"No tolerance is stated" in files["check-odd.html"]


def test_rows_that_are_only_listed() -> None:
    files = report_of(stake(3, counted=np.zeros(3, dtype=np.bool_)))
    assert b"Unchecked" in files["check-odd.html"]
    assert b"listed, not counted" in files["check-odd.html"]


def test_repeats_without_a_repeated_mark() -> None:
    files = report_of(empty(factory.repeat_measure()))
    assert b"No mark was shot twice." in files["check-repeats-hours-apart.html"]


def test_an_open_traverse_and_an_open_run() -> None:
    keys = ("ratio", "misclosure", "misclosure_n", "misclosure_e", "area")
    traverse = replace(
        blanked(factory.traverse_measure(), *keys),
        comparisons=(),
        whole_unchecked="an open traverse has nothing to close on",
    )
    levels = replace(
        blanked(factory.level_measure(), "misclosure"),
        comparisons=(),
        whole_undecided="the run does not close",
    )
    files = report_of(traverse, levels)
    assert b"Not closed: nothing proves these stations" in files["check-control-loop.html"]
    assert b"Not closed: nothing proves these elevations" in files["check-bench-mark-run.html"]
    assert b"The run does not close" in files["check-bench-mark-run.html"]


def test_a_perfect_closure() -> None:
    measure = factory.traverse_measure()
    items = tuple(
        replace(i, value=None)
        if i.key == "ratio"
        else replace(i, value=0.0)
        if i.key.startswith("misclosure")
        else i
        for i in measure.summary
    )
    files = report_of(replace(measure, summary=items))
    assert b"Misclosure 0.000" in files["check-control-loop.html"]


@pytest.mark.parametrize("share", [0.2, 3.0])
def test_a_gross_error_does_not_break_the_figures(share: float) -> None:
    place = np.linspace(0, 50, 200)
    off = np.full(200, 1e6 * share)
    measure = factory.stake_measure(
        "Gross",
        factory.tolerance("t", horizontal="0.03 ft", vertical="0.03 ft"),
        [str(number) for number in range(200)],
        (place, place, place),
        (place + off, place, place - off),
        np.zeros(200, dtype=np.int64),
    )
    files = report_of(measure)
    assert b"200 of 200 outside tolerance" in files["index.html"]
    assert b"nan" not in files["index.html"]


def test_metres_have_three_decimals_on_the_lath() -> None:
    from checker.units import LengthUnit

    results: Results = factory.make()
    metric = replace(results, job=replace(results.job, unit=LengthUnit.METRE))
    document = results_document(metric)
    checks = document["checks"]
    assert isinstance(checks, list)
    row = next(each for each in checks if each["name"] == "Force main")["rows"][2]
    assert row["cut_fill"] == "F 0.022"
    assert '"unit": "m"' in results_text(metric)
