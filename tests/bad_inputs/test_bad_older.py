"""Earlier revisions that name what the job does not have, or no file."""

from pathlib import Path

import pytest

from tests.support.lines import table, write
from tests.support.shapes import problems_of

SHOT = "id,northing,easting,elevation"
HEAD = """[job]
title = "Invented road"
unit = "metre"
[measured]
files = ["shots.csv"]
[tolerance.t]
along = "0.03 m"
across = "0.03 m"
vertical = "0.03 m"
"""
ROAD = """[alignment.CL]
elements = "cl.csv"
start = "0+100"
profile = "profile.csv"
"""
STAKED = """[[stakeout]]
name = "Stakes"
design = { stakes = "stakes.csv" }
match = "station"
alignment = "CL"
tolerance = "t"
"""
ELEMENTS = "type,length,northing,easting,azimuth\nline,300,{n},2000,90\n"
PROFILE = "station,elevation\n0+100,{z}\n0+400,{z}\n"
STAKES = "id,station,offset\nA,0+150,5\nB,0+200,-5\nC,0+250,5\n"


@pytest.mark.parametrize(
    ("older", "slug", "says"),
    [
        ('[{ profile = { ROAD = "profile.csv" } }]', "unknown-alignment", '"ROAD"'),
        ('[{ elements = { ROAD = "cl.csv" } }]', "unknown-alignment", '"ROAD"'),
        ('[{ stakes = { Curb = "stakes.csv" } }]', "unknown-check", '"Curb"'),
        ("[{ stakes = { Stakes = 7 } }]", "wrong-type", "Stakes"),
        ("[{ stakes = {} }]", "wrong-type", "stakes"),
        ('[{ profile = { CL = "none.csv" } }]', "missing-file", "none.csv"),
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
