"""The verdict of a job."""

from dataclasses import replace

import numpy as np

from checker.checks.stakeout import measure_stakeout
from checker.model.finding import Finding, Verdict
from checker.units import LengthUnit
from checker.verdicts.judge import judge
from checker.verdicts.overall import overall
from tests.support.points import inputs, job, points, stakeout, texts, tolerance

DESIGN = points([("1", 0.0, 0.0, 0.0), ("2", 9.0, 0.0, 0.0), ("3", 0.0, 9.0, 0.0)])


def finding(*shots: tuple[str, float, float, float]) -> Finding:
    section = stakeout(limit=tolerance(horizontal=0.02))
    measure = measure_stakeout(
        section, inputs(design=DESIGN, measured=points(list(shots))), job(section)
    )
    return judge(measure, texts([""] * len(shots)), LengthUnit.METRE)


def test_the_worst_of_all_and_the_counts() -> None:
    good = finding(("1", 0.0, 0.0, 0.0), ("2", 9.0, 0.0, 0.0), ("3", 0.0, 9.0, 0.0))
    bad = finding(("1", 0.5, 0.0, 0.0), ("2", 9.0, 0.0, 0.0))
    assert overall([good])[0] is Verdict.WITHIN
    verdict, counts = overall([good, bad])
    assert verdict is Verdict.OUTSIDE
    assert counts == {
        Verdict.WITHIN: 4,
        Verdict.UNCHECKED: 1,
        Verdict.UNDECIDED: 0,
        Verdict.OUTSIDE: 1,
    }


def test_a_check_judged_as_one_counts_once() -> None:
    good = finding(("1", 0.0, 0.0, 0.0), ("2", 9.0, 0.0, 0.0), ("3", 0.0, 9.0, 0.0))
    whole = replace(good, measure=replace(good.measure, judged_by_row=False))
    assert overall([whole])[1][Verdict.WITHIN] == 1


def test_superseded_rows_do_not_count() -> None:
    item = finding(
        ("1", 0.5, 0.0, 0.0), ("1", 0.0, 0.0, 0.0), ("2", 9.0, 0.0, 0.0), ("3", 0.0, 9.0, 0.0)
    )
    verdict, counts = overall([item])
    assert (verdict, counts[Verdict.WITHIN], counts[Verdict.OUTSIDE]) == (Verdict.WITHIN, 3, 0)


def test_nothing_counted_is_one_unchecked() -> None:
    good = finding(("1", 0.0, 0.0, 0.0))
    none = replace(good.measure, counted=np.zeros(3, dtype=np.bool_))
    verdict, counts = overall([judge(none, texts([""]), LengthUnit.METRE)])
    assert (verdict, sum(counts.values()), counts[Verdict.UNCHECKED]) == (Verdict.UNCHECKED, 1, 1)


def test_a_job_without_findings_is_unchecked() -> None:
    verdict, counts = overall([])
    assert verdict is Verdict.UNCHECKED
    assert sum(counts.values()) == 0
