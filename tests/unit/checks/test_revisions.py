"""Earlier revisions of the design: stakes that follow one, and what moved since."""

from pathlib import Path
from typing import Any

import pytest

from checker.run import check
from tests.support.shapes import by_id, only_check, problems_of, write_job

NOW = """point,n,e,z
101,100.000,200.000,10.00
102,130.600,240.000,10.00
103,100.000,280.000,10.25
104,140.000,280.000,10.00
106,150.000,290.000,10.00
"""
REV_B = """point,n,e,z
101,100.000,200.000,10.00
102,130.000,240.000,10.00
103,100.000,280.000,10.00
104,140.000,280.300,10.00
105,160.000,300.000,10.00
"""
REV_A = """point,n,e,z
101,100.000,200.000,10.00
102,129.000,240.000,10.00
"""
SHOTS = """point,n,e,z
101,100.010,200.000,10.00
102,130.010,240.005,10.01
103,100.000,280.010,10.01
104,140.000,281.000,10.00
105,160.003,300.004,10.00
106,150.000,290.000,10.00
"""
SECTION = """
[tolerance.t]
horizontal = "30 mm"
vertical = "30 mm"
{rule}
[[stakeout]]
name = "All stakes"
tolerance = "t"
measured = {{ id = "*" }}
{more}
"""


def job(folder: Path, older: str, *, rule: str = "", more: str = "", **files: str) -> Path:
    given: dict[str, Any] = {
        "d_csv": NOW,
        "m_csv": SHOTS,
        "b_csv": REV_B,
        "a_csv": REV_A,
        **files,
    }
    write_job(folder, SECTION.format(rule=rule, more=more), **given)
    text = (folder / "job.toml").read_text()
    text = text.replace('points = "d.csv"\n', f'points = "d.csv"\nolder = {older}\n')
    (folder / "job.toml").write_text(text)
    return folder


def summary(found: dict[str, Any]) -> dict[str, Any]:
    values: dict[str, Any] = found["summary"]
    return values


NAMED_B = '[{ file = "b.csv", revision = "B" }]'


def test_stakes_that_follow_an_earlier_revision_are_named(tmp_path: Path) -> None:
    found = only_check(job(tmp_path, NAMED_B))
    rows = by_id(found)
    assert rows["102"]["verdict"] == "outside"
    assert "stands where revision B put it" in rows["102"]["reason"]
    assert rows["103"]["verdict"] == "outside"
    assert "stands where revision B put it" in rows["103"]["reason"]  # moved in height alone
    # outside both, within the design that did not move, and gone since
    assert "revision B" not in rows["104"]["reason"]
    assert rows["101"]["reason"] == ""
    assert "revision B had a point of this number, 5.0 mm" in rows["105"]["reason"]
    assert rows["105"]["verdict"] == "unchecked"
    assert summary(found)["follow_older"] == 2
    assert any("2 stakes stand where revision B put them" in text for text in found["remarks"])
    assert any("102, 103" in text for text in found["remarks"])


def test_what_moved_is_new_or_is_gone_is_listed(tmp_path: Path) -> None:
    found = only_check(job(tmp_path, NAMED_B))
    (table,) = [each for each in found["tables"] if each["key"] == "changes"]
    rows = {row["id"]: row for row in table["rows"]}
    assert {name: row["change"] for name, row in rows.items()} == {
        "102": "moved",
        "103": "moved in height",
        "104": "moved",
        "105": "gone",
        "106": "new",
    }
    assert rows["102"]["dn"] == pytest.approx(0.6, abs=1e-9)
    assert rows["103"]["dz"] == pytest.approx(0.25, abs=1e-9)
    assert rows["104"]["de"] == pytest.approx(-0.3, abs=1e-9)
    assert rows["105"]["dn"] is None
    assert {row["since"] for row in rows.values()} == {"B"}


def test_revisions_are_told_apart_and_named_by_their_file_without_a_name(tmp_path: Path) -> None:
    shots = SHOTS.replace("102,130.010", "102,129.010")
    found = only_check(job(tmp_path, '["b.csv", "a.csv"]', m_csv=shots))
    rows = by_id(found)
    assert 'stands where "a.csv" put it' in rows["102"]["reason"]
    assert 'stands where "b.csv" put it' in rows["103"]["reason"]
    assert summary(found)["follow_older"] == 2


def test_a_design_that_did_not_change_says_so(tmp_path: Path) -> None:
    same = NOW.replace("101,100.000", "101,100.0000")
    results = check(job(tmp_path, '"b.csv"', b_csv=same))
    assert [n.message for n in results.inputs.notices if n.slug == "design-changed"] == [
        'since "b.csv", of 5 design points: nothing changed'
    ]
    (finding,) = results.findings
    assert not [each for each in finding.measure.supplements if each.key == "changes"]
    (count,) = [each.value for each in finding.summary if each.key == "follow_older"]
    assert count == 0


def test_without_earlier_revisions_nothing_is_counted(tmp_path: Path) -> None:
    found = only_check(
        write_job(tmp_path, SECTION.format(rule="", more=""), d_csv=NOW, m_csv=SHOTS)
    )
    assert "follow_older" not in summary(found)


def test_the_whole_design_is_compared_too(tmp_path: Path) -> None:
    results = check(job(tmp_path, NAMED_B, more='design = { id = ["101", "102"] }'))
    (notice,) = [each for each in results.inputs.notices if each.slug == "design-changed"]
    assert notice.where.file == "b.csv"
    assert "2 moved (102, 104)" in notice.message
    assert "1 moved in height (103)" in notice.message
    assert "1 new (106)" in notice.message
    assert "1 gone (105)" in notice.message


def test_a_guard_does_not_hide_a_stale_stake(tmp_path: Path) -> None:
    shots = SHOTS.replace("z\n", "z,sigma_h,sigma_z\n", 1)
    head, *rows = shots.splitlines()
    shots = "\n".join([head, *(f"{row},0.014,0.014" for row in rows), ""])
    found = only_check(job(tmp_path, NAMED_B, rule='rule = "guarded"', m_csv=shots))
    # 11 mm off with 28 mm added is not proven within of B, and still where B put it
    assert "stands where revision B put it" in by_id(found)["102"]["reason"]


def test_offset_stakes_follow_the_feature_of_the_earlier_revision(tmp_path: Path) -> None:
    alignment = (
        '[alignment.A]\nelements = "el.csv"\nstart = "0+000"\n'
        "start_point = { n = 0.0, e = 240.0 }\nstart_azimuth = 0\n"
        '[[stakeout]]\nname = "Offset"\nalignment = "A"\ntolerance = "t"\n'
        'design = { id = "102" }\nstake_offset = { offset = "2 m", side = "right" }\n'
    )
    # 2 m right of where B had point 102
    shots = "point,n,e,z\n102,130.010,242.005,10.01\n"
    folder = write_job(
        tmp_path,
        f'[tolerance.t]\nhorizontal = "30 mm"\n{alignment}',
        d_csv=NOW,
        m_csv=shots,
        b_csv=REV_B,
        el_csv="kind,length,radius\nline,400,\n",
    )
    text = (folder / "job.toml").read_text()
    text = text.replace('"d.csv"\n', f'"d.csv"\nolder = {NAMED_B}\n')
    (folder / "job.toml").write_text(text)
    row = by_id(only_check(folder))["102"]
    assert row["verdict"] == "outside"
    assert "stands where revision B put it" in row["reason"]


def test_a_number_at_several_places_of_a_revision_is_left_out_and_said(tmp_path: Path) -> None:
    from ezdxf.filemanagement import new

    drawing = new("R2010", units=6)
    space = drawing.modelspace()
    for number, n, e in (("102", 130.0, 240.0), ("102", 140.0, 240.0), ("103", 100.0, 280.0)):
        space.add_point((e, n, 10.0), dxfattribs={"layer": "P"})
        space.add_text(number, dxfattribs={"layer": "P", "insert": (e + 0.1, n)})
    tmp_path.mkdir(exist_ok=True)
    drawing.saveas(tmp_path / "b.dxf")
    found = only_check(job(tmp_path, '{ file = "b.dxf", revision = "B" }'))
    assert "revision B" not in by_id(found)["102"]["reason"]
    assert "stands where revision B put it" in by_id(found)["103"]["reason"]
    assert any("gives 1 number to several places" in text for text in found["remarks"])


def test_the_design_under_another_name_is_no_earlier_revision(tmp_path: Path) -> None:
    (problem,) = problems_of(job(tmp_path, '"b.csv"', b_csv=NOW))
    assert problem.slug == "older-is-current"
    assert '"b.csv"' in problem.message


@pytest.mark.parametrize(
    ("older", "slug", "says"),
    [
        ("[]", "wrong-type", "earlier revisions"),
        ("7", "wrong-type", "file"),
        ('["d.csv"]', "conflicting-keys", "the design itself"),
        ('["b.csv", "b.csv"]', "conflicting-keys", "named twice"),
        ('[{ revision = "B" }]', "missing-key", "has no file"),
        ('[{ file = "b.csv", rev = "B" }]', "unknown-key", "rev"),
        ('["not-there.csv"]', "missing-file", "not-there.csv"),
    ],
)
def test_faults_of_older_are_named(tmp_path: Path, older: str, slug: str, says: str) -> None:
    problems = problems_of(job(tmp_path, older))
    assert [each.slug for each in problems] == [slug]
    assert says in problems[0].message


def curb(folder: Path, name: str, north: float, *, z: float = 0.0) -> bytes:
    from ezdxf.filemanagement import new

    folder.mkdir(parents=True, exist_ok=True)
    drawing = new("R2010", units=6)
    space = drawing.modelspace()
    for begin, end, at in ((0.0, 50.0, north), (50.0, 100.0, 10.0)):
        space.add_line((begin, at, z), (end, at, z), dxfattribs={"layer": "CURB"})
    drawing.saveas(folder / name)
    return (folder / name).read_bytes()


def test_shots_that_follow_a_line_of_an_earlier_revision_are_named(tmp_path: Path) -> None:
    folder = write_job(
        tmp_path,
        '[tolerance.t]\nacross = "20 mm"\n[[stakeout]]\nname = "Curb"\nmatch = "line"\n'
        'design = { layer = "CURB" }\ntolerance = "t"\n',
        d_dxf=curb(tmp_path, "new.dxf", 10.4),
        b_dxf=curb(tmp_path, "old.dxf", 10.0),
        m_csv="point,n,e,z\nA,10.005,20,1\nB,10.390,30,1\nC,10.1,80,1\nD,10.2,25,1\n",
    )
    text = (folder / "job.toml").read_text()
    text = text.replace('"d.dxf"\n', '"d.dxf"\nolder = { file = "b.dxf", revision = "B" }\n')
    (folder / "job.toml").write_text(text)
    found = only_check(folder)
    rows = by_id(found)
    assert rows["A"]["verdict"] == "outside"
    assert "stands where revision B put it" in rows["A"]["reason"]
    assert rows["B"]["reason"] == ""
    assert "revision B" not in rows["C"]["reason"]  # that line did not move
    assert "revision B" not in rows["D"]["reason"]
    assert summary(found)["follow_older"] == 1
