"""Curb returns, limits and earlier revisions that cannot be meant: where, and the words."""

from pathlib import Path

import pytest

from tests.support.shapes import problems_of, write_job

SHOTS = "point,n,e,z\nA,92,200,10\nB,97,202,10\nC,100,208,10\n"
DESIGN = "point,n,e,z\n101,0,0,0\n"
HEAD = '[[curb_return]]\nname = "return"\ntolerance = { radius = "50 mm" }\n'
AWAY = "{ n = 60, e = 230 }, { n = 95, e = 230 }"
ARC = '{ centre = { n = 1, e = 1 }, turn = "right", begin = { n = 1, e = 2 }, '
LINE = "{ n = 60, e = 200 }, { n = 95, e = 200 }"


@pytest.mark.parametrize(
    ("design", "slug", "words"),
    [
        (
            f'{{ tangents = [{LINE}, {AWAY}], radius = "8 m" }}',
            "tangents-unusable",
            "the two lines are parallel",
        ),
        (
            f'{{ tangents = [{LINE}], radius = "8 m" }}',
            "wrong-type",
            "four places: two of the line back, two of the line ahead",
        ),
        (f"{{ tangents = [{LINE}, {LINE}] }}", "missing-key", "has no radius"),
        (
            ARC + 'end = { n = 2, e = 1 }, radius = "-8 m" }',
            "bad-value",
            "radius",
        ),
        (
            ARC + 'end = { n = 1, e = 9 }, radius = "8 m" }',
            "no-arc",
            "in the same direction from the centre",
        ),
        ('{ centre = "9", radius = "8 m" }', "missing-section", "there is no [design]"),
        ('{ radius = "8 m", turn = "left" }', "missing-key", "states the arc in no way"),
    ],
)
def test_an_arc_that_is_none(tmp_path: Path, design: str, slug: str, words: str) -> None:
    folder = write_job(tmp_path, HEAD + f"design = {design}\n", m_csv=SHOTS)
    found = problems_of(folder)
    assert any(each.slug == slug and words in each.message for each in found), found
    assert all(each.where.file == "job.toml" and each.where.line for each in found)


@pytest.mark.parametrize(
    ("limit", "words"),
    [
        ("1:500, at most 2:1000", "cannot be read"),
        ("1:500, at least 2 in, at most 1 in", "is at least more than it is at most"),
        ("1:0", "is no ratio"),
        ("1 in up to 0 ft, then 1:500", "is no length greater than 0"),
    ],
)
def test_a_limit_of_a_length_that_is_none(tmp_path: Path, limit: str, words: str) -> None:
    section = (
        '[[relative]]\nname = "columns"\nplumb = [["A", "B"]]\n'
        f'tolerance = {{ plumb = "{limit}" }}\n'
    )
    found = problems_of(write_job(tmp_path, section, d_csv=DESIGN, m_csv=SHOTS))
    assert any(each.slug == "bad-value" and words in each.message for each in found), found


def test_an_earlier_revision_that_is_the_design_itself(tmp_path: Path) -> None:
    folder = write_job(
        tmp_path,
        '[[stakeout]]\nname = "s"\ntolerance = { horizontal = 1 }\n',
        d_csv=DESIGN,
        m_csv=SHOTS,
        b_csv=DESIGN,
    )
    text = (folder / "job.toml").read_text()
    (folder / "job.toml").write_text(
        text.replace('"d.csv"\n', '"d.csv"\nolder = [{ file = "b.csv", revision = "B" }]\n')
    )
    (found,) = problems_of(folder)
    assert (found.slug, found.where.file) == ("older-is-current", "job.toml")
    assert 'byte for byte the design itself, "d.csv"' in found.message
