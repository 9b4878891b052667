"""Jobs whose data cannot carry the site fit or the field test that they ask for."""

from pathlib import Path

import pytest

from checker.errors import InputError
from checker.run import check
from tests.support.jobs import JobFolder

MARKS = [("A", 5000.0, 3000.0, 10.0), ("B", 5100.0, 3000.0, 10.0), ("C", 5100.0, 3080.0, None)]
STAKE = ("1", 5050.0, 3040.0, 9.0)


@pytest.mark.parametrize(
    ("more", "slug", "words", "hint"),
    [
        (
            '[site_fit]\nheight = "plane"\n',
            "fit-weak",
            "height cannot be fitted: 2 points do not fix 3 parameters",
            (
                "a plane needs 3 marks, and a fourth to show anything; there are 2: A, B. Shoot "
                'more known marks, or write height = "shift"'
            ),
        ),
        (
            '[site_fit]\npairs = [["A", "A"]]\n',
            "fit-weak",
            "plan cannot be fitted: 1 common points",
            (
                "a similarity needs 2 marks, and a third to show anything; there is 1: A. Shoot "
                'more known marks, or write plan = "shift"'
            ),
        ),
        (
            '[site_fit]\npairs = [["9", "A"]]\n',
            "unknown-point",
            'names "9": no as-measured point',
            "in that order",
        ),
        (
            '[[rover_test]]\npoints = ["A", "R9"]\n',
            "unknown-point",
            'rover point "R9" has no shot',
            "by the numbers that their shots carry",
        ),
        (
            '[[rover_test]]\npoints = ["A", "1"]\n',
            "sets-differ",
            'series "1" has 2 shots of A and 1 of 1',
            "exclude",
        ),
        (
            '[[accuracy]]\nmeasured = { id = "1" }\n',
            "selection-empty",
            "no as-measured point has the number of a point of the control",
            "check points carry the number",
        ),
    ],
)
def test_what_the_data_cannot_carry(
    more: str, slug: str, words: str, hint: str, tmp_path: Path
) -> None:
    folder = JobFolder(
        design=[STAKE], shots=[STAKE, *MARKS, MARKS[0]], control=MARKS, more=more
    ).write(tmp_path)
    with pytest.raises(InputError) as caught:
        check(folder)
    (problem,) = caught.value.problems
    assert problem.slug == slug
    assert words in problem.message
    assert hint in problem.hint
    assert problem.where.file == "job.toml"
    assert problem.where.line is not None
