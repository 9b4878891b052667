"""Earlier revisions that name what the job does not have, or no file."""

from pathlib import Path

import pytest

from tests.support.lines import table, write
from tests.support.older import ELEMENTS, HEAD, PROFILE, ROAD, SHOT, STAKED, STAKES
from tests.support.shapes import problems_of


@pytest.mark.parametrize(
    ("older", "slug", "says"),
    [
        ('[{ profile = { ROAD = "profile.csv" } }]', "unknown-alignment", '"ROAD"'),
        ('[{ elements = { ROAD = "cl.csv" } }]', "unknown-alignment", '"ROAD"'),
        ('[{ stakes = { Curb = "stakes.csv" } }]', "unknown-check", '"Curb"'),
        ("[{ stakes = { Stakes = 7 } }]", "wrong-type", "Stakes"),
        ("[{ stakes = {} }]", "wrong-type", "stakes"),
        ('[{ profile = { CL = "none.csv" } }]', "missing-file", "none.csv"),
        ('[{ file = "b.csv", unit = "chain" }]', "wrong-choice", "chain"),
        ('[{ profile = { CL = "p.csv" }, unit = "foot" }]', "conflicting-keys", "none is named"),
    ],
)
def test_faults_are_named(tmp_path: Path, older: str, slug: str, says: str) -> None:
    job = HEAD + f'[design]\npoints = "points.csv"\nolder = {older}\n' + ROAD + STAKED
    folder = write(
        tmp_path,
        job,
        cl_csv=ELEMENTS.format(n=5000),
        profile_csv=PROFILE.format(z=50),
        stakes_csv=STAKES,
        points_csv="id,n,e,z\nX,1,1,1\n",
        shots_csv=table(SHOT, [("A", 4993.0, 2050.0, 50.0)]),
    )
    problems = problems_of(folder)
    assert [each.slug for each in problems] == [slug]
    assert says in problems[0].message
