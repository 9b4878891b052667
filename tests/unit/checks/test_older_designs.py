"""Earlier revisions of roads and surfaces: stakes by station, grades, lines, slopes, triangles."""

from pathlib import Path
from typing import Any

import pytest

from checker.run import check as whole
from tests.support.jobs import results
from tests.support.lines import check, dxf, row, run, table, write
from tests.support.older import ELEMENTS, HEAD, PROFILE, ROAD, SHOT, STAKED, STAKES
from tests.support.shapes import faces_drawing, only_check, write_job
from tests.support.shapes import table as points_table


def design(older: str, more: str = "") -> str:
    return f"[design]\nolder = {older}\n{more}"


def road(folder: Path, older: str, shots: list[tuple[object, ...]], **more: Any) -> dict[str, Any]:
    sections = more.pop("sections", STAKED)
    files = {
        "cl_csv": ELEMENTS.format(n=5000),
        "profile_csv": PROFILE.format(z=50),
        "stakes_csv": STAKES,
        "points_csv": "id,n,e,z\nX,1,1,1\n",
        **more,
    }
    job = HEAD + design(older, 'points = "points.csv"\n') + ROAD + sections
    return run(write(folder, job, shots_csv=table(SHOT, shots), **files))


def test_stakes_by_station_follow_the_older_course(tmp_path: Path) -> None:
    """The road was moved 2 m to the north since; two stakes stand beside the old one."""
    found = road(
        tmp_path,
        '[{ revision = "A", elements = { CL = "cl-a.csv" } }]',
        [("A", 4993.0, 2050.0, 50.0), ("B", 5003.01, 2100.0, 50.0), ("C", 4995.0, 2150.0, 50.0)],
        **{"cl-a_csv": ELEMENTS.format(n=4998)},
    )
    for name in "AB":
        assert row(found, "Stakes", name)["verdict"] == "outside"
        assert "stands where revision A put it" in row(found, "Stakes", name)["reason"]
    assert row(found, "Stakes", "C")["verdict"] == "within"
    assert check(found, "Stakes")["summary"]["follow_older"] == 2
    (changes,) = [each for each in check(found, "Stakes")["tables"] if each["key"] == "changes"]
    assert {each["id"]: each["change"] for each in changes["rows"]} == dict.fromkeys("ABC", "moved")
    assert [each["dn"] for each in changes["rows"]] == [pytest.approx(2.0)] * 3


def test_stakes_by_station_follow_the_older_drawing(tmp_path: Path) -> None:
    """The course of a layer, drawn on ground; the shots are on a grid of 0.9996 of it."""
    factor = 0.9996
    lines = {
        "now.dxf": dxf(lines=[("CL", (2000, 5000), (2300, 5000))]),
        "then.dxf": dxf(lines=[("CL", (2000, 4998), (2300, 4998))]),
    }
    head = f"[reference]\nground = {{ combined_factor = {factor}, origin = {{ n = 0, e = 0 }} }}\n"
    job = HEAD + head + '[design]\ndrawing = "now.dxf"\nolder = ["then.dxf"]\n'
    job += '[alignment.CL]\nlayer = "CL"\nstart = "0+100"\n' + STAKED
    for name, text in lines.items():
        (tmp_path / name).write_text(text)
    shots = [
        ("A", 4993.0 * factor, 2050.0 * factor, 50.0),
        ("B", 5005.0 * factor, 2100.0 * factor, 50.0),
    ]
    found = run(write(tmp_path, job, stakes_csv=STAKES, shots_csv=table(SHOT, shots)))
    assert 'stands where "then.dxf" put it' in row(found, "Stakes", "A")["reason"]
    assert row(found, "Stakes", "B")["across"] == pytest.approx(0.0, abs=1e-6)


def test_the_older_profile_alone(tmp_path: Path) -> None:
    """Grade stakes, stakes by station and slope stakes against a profile that was 0.3 m lower."""
    sections = (
        STAKED
        + '[[stakeout]]\nname = "Grades"\nmatch = "station"\nalignment = "CL"\n'
        + 'measured = { id = "G*" }\ntolerance = { vertical = "0.03 m" }\n'
        + '[[slope_stake]]\nname = "Slopes"\nalignment = "CL"\nhinge = "6 m"\ncut = "2:1"\n'
        + 'fill = "2:1"\nmeasured = { id = "S*" }\ntolerance = { across = "0.1 m" }\n'
        + '[[stakeout]]\nname = "Line"\nmatch = "line"\nalignment = "CL"\n'
        + 'measured = { id = "L*" }\ntolerance = { across = "0.03 m", vertical = "0.03 m" }\n'
    )
    found = road(
        tmp_path,
        '[{ revision = "A", profile = { CL = "profile-a.csv" } }]',
        [
            ("A", 4995.0, 2050.0, 49.7),
            ("G1", 5000.0, 2020.0, 49.71),
            ("G2", 5000.0, 2025.0, 50.01),
            ("S1", 5000.0 + 6 + 2 * 1.3, 2060.0, 51.0),  # catch of the old hinge at 49.7
            ("L1", 5000.0, 2030.0, 49.69),
        ],
        sections=sections,
        **{"profile-a_csv": PROFILE.format(z=49.7)},
    )
    for name, point in (("Stakes", "A"), ("Grades", "G1"), ("Slopes", "S1"), ("Line", "L1")):
        assert row(found, name, point)["verdict"] == "outside", name
        assert "stands where revision A put it" in row(found, name, point)["reason"], name
    assert row(found, "Grades", "G2")["verdict"] == "within"


def test_the_older_table_of_stakes(tmp_path: Path) -> None:
    """Its own stations and offsets: B is gone since, D is new, C has not moved."""
    found = road(
        tmp_path,
        '[{ revision = "A", stakes = { Stakes = "stakes-a.csv" } }]',
        [("A", 4994.0, 2050.0, 50.0), ("C", 4995.0, 2150.0, 50.0), ("B", 5005.0, 2100.0, 50.0)],
        stakes_csv="id,station,offset\nA,0+150,5\nC,0+250,5\nD,0+260,5\n",
        **{"stakes-a_csv": "id,station,offset\nA,0+150,6\nB,0+200,-5\nC,0+250,5\n"},
    )
    assert "stands where revision A put it" in row(found, "Stakes", "A")["reason"]
    (changes,) = [each for each in check(found, "Stakes")["tables"] if each["key"] == "changes"]
    assert {each["id"]: each["change"] for each in changes["rows"]} == {
        "A": "moved",
        "D": "new",
        "B": "gone",
    }


def test_stakes_of_a_table_follow_points_of_their_numbers(tmp_path: Path) -> None:
    """The older revision was staked from points by number; the table came later."""
    found = road(
        tmp_path,
        '["a.csv"]',
        [("A", 4993.0, 2050.0, 50.0), ("B", 5005.0, 2100.0, 50.0), ("C", 4995.0, 2150.0, 50.0)],
        a_csv="id,n,e,z\nA,4993,2050,50\nOTHER,4000,2000,50\n",
    )
    assert 'stands where "a.csv" put it' in row(found, "Stakes", "A")["reason"]
    (changes,) = [each for each in check(found, "Stakes")["tables"] if each["key"] == "changes"]
    assert [(each["id"], each["change"]) for each in changes["rows"]] == [("A", "moved")]


def test_a_revision_without_these_stakes_says_nothing_of_them(tmp_path: Path) -> None:
    found = road(tmp_path, '["a.csv"]', [("A", 4995.0, 2050.0, 50.0)], a_csv="id,n,e,z\nZ,1,2,3\n")
    assert not [each for each in check(found, "Stakes")["tables"] if each["key"] == "changes"]
    assert "follow_older" not in check(found, "Stakes")["summary"]


def test_the_older_course_as_a_table_of_another_kind(tmp_path: Path) -> None:
    """What was a table of intersections is drawn now; its headings are those of that table."""
    (tmp_path / "now.dxf").write_text(dxf(lines=[("CL", (2000, 5000), (2300, 5000))]))
    job = HEAD + '[design]\ndrawing = "now.dxf"\n'
    job += 'older = { revision = 1, intersections = { CL = "pi.csv" } }\n'
    job += '[alignment.CL]\nlayer = "CL"\nstart = "0+100"\n' + STAKED
    pi = "northing,easting,radius\n4999,2000,\n4999,2200,100\n4899,2200,\n"
    shots = [("A", 4994.0, 2050.0, 50.0), ("B", 5004.0, 2100.0, 50.0)]
    found = run(write(tmp_path, job, pi_csv=pi, stakes_csv=STAKES, shots_csv=table(SHOT, shots)))
    # up to 0+200 the old course is straight, 1 m south
    for name in "AB":
        assert "stands where revision 1 put it" in row(found, "Stakes", name)["reason"]


def test_an_older_course_that_cannot_be_used_is_said(tmp_path: Path) -> None:
    lines = [("CL", (2000, 4998), (2100, 4998)), ("CL", (2150, 4998), (2300, 4998))]
    (tmp_path / "then.dxf").write_text(dxf(lines=lines))
    (tmp_path / "now.dxf").write_text(dxf(lines=[("CL", (2000, 5000), (2300, 5000))]))
    job = HEAD + '[design]\ndrawing = "now.dxf"\nolder = [{ file = "then.dxf", revision = "A" }]\n'
    job += '[alignment.CL]\nlayer = "CL"\nstart = "0+100"\n' + STAKED
    shots = [("A", 4995.0, 2050.0, 50.0)]
    found = run(write(tmp_path, job, stakes_csv=STAKES, shots_csv=table(SHOT, shots)))
    (said,) = [text for text in check(found, "Stakes")["remarks"] if "is not compared here" in text]
    assert said.startswith("Revision A is not compared here")
    assert "make 2 courses" in said
    assert row(found, "Stakes", "A")["across"] == pytest.approx(0.0, abs=1e-9)


# ---------------------------------------------------------------- surfaces

PAD = [(0.0, 0.0), (40.0, 0.0), (40.0, 40.0), (0.0, 40.0)]


def pad(z: float) -> list[tuple[float, float, float]]:
    return [(e, n, z) for e, n in PAD]


def surfaces(folder: Path, heights: list[float], *, then: float = 9.8) -> dict[str, Any]:
    """Shots on a pad at 10.0 that an earlier revision had lower, west of a line only."""
    now = [(0.0, 0.0, 10.0), (40.0, 0.0, 10.0), (40.0, 40.0, 10.0), (0.0, 40.0, 10.0)]
    shots = [(f"S{i}", 5.0 + 3 * i, 6.0 + 2 * i, z) for i, z in enumerate(heights)]
    folder.mkdir(exist_ok=True)
    # A ring makes it another file where its pad is the same.
    old = faces_drawing([pad(then)], rings=[[(0.0, 0.0), (1.0, 0.0), (1.0, 1.0)]])
    (folder / "old.dxf").write_bytes(old)
    write_job(
        folder,
        '[[surface]]\nname = "Pad"\ndesign = { layer = "FG-TIN" }\n'
        'tolerance = { vertical = "30 mm" }\n',
        d_dxf=faces_drawing([now]),
        m_csv=points_table(shots),
    )
    text = (folder / "job.toml").read_text()
    older = 'older = [{ file = "old.dxf", revision = "A" }]\n'
    (folder / "job.toml").write_text(text.replace('"d.dxf"\n', f'"d.dxf"\n{older}'))
    return only_check(folder)


def test_shots_on_the_surface_of_an_earlier_revision_are_named(tmp_path: Path) -> None:
    found = surfaces(tmp_path, [9.80, 9.81, 9.79, 9.83, 10.01, 9.88])
    rows = {each["id"]: each for each in found["rows"]}
    assert all("lies where revision A put it" in rows[f"S{i}"]["reason"] for i in range(4))
    assert rows["S4"]["reason"] == ""
    assert "revision A" not in rows["S5"]["reason"]
    (seen,) = [each for each in found["tables"] if each["key"] == "earlier_surfaces"]
    (line,) = seen["rows"]
    assert (line["shots"], line["nearer"]) == (6, 5)
    assert line["share"] == pytest.approx(5 / 6)
    assert line["mean_z"] == pytest.approx(0.32 / 6, abs=1e-9)
    assert line["mean_z_now"] == pytest.approx((0.32 - 1.2) / 6, abs=1e-9)
    assert found["summary"]["follow_older"] == 4
    assert any(
        "5 of 6 shots lie nearer to the surface of revision A" in t for t in found["remarks"]
    )
    assert any("4 shots lie where revision A put them" in text for text in found["remarks"])


def test_the_diagnosis_names_the_revision_of_stakes_by_station(tmp_path: Path) -> None:
    """Half of the stakes beside the older course; the cause is named once, with its ids."""
    shots = [
        (f"K{i}", 5000.0 - (2.0 if i < 6 else 0.0) - 5.0, 2010.0 + 20 * i, 50.0) for i in range(12)
    ]
    found = road(
        tmp_path,
        '[{ revision = "A", elements = { CL = "cl-a.csv" } }]',
        [(name, n + 0.004 * (i % 3 - 1), e, z) for i, (name, n, e, z) in enumerate(shots)],
        stakes_csv="id,station,offset\n" + "".join(f"K{i},{110 + 20 * i},5\n" for i in range(12)),
        **{"cl-a_csv": ELEMENTS.format(n=4998)},
    )
    (cause,) = found["diagnoses"]
    assert cause["blunder"] == "stale-revision"
    assert cause["parameter"]["revision"] == "revision A"
    assert cause["applies_to"]["ids"] == [f"K{i}" for i in range(6)]
    assert cause["parameter"]["dn"] == pytest.approx(-2.0)


def test_the_diagnosis_names_the_revision_of_a_surface(tmp_path: Path) -> None:
    heights = [
        9.8 + 0.004 * (i % 3 - 1) if i < 5 else 10.0 + 0.004 * (i % 3 - 1) for i in range(10)
    ]
    surfaces(tmp_path, heights)
    (cause,) = results(tmp_path)["diagnoses"]
    assert cause["blunder"] == "stale-revision"
    assert cause["parameter"]["revision"] == "revision A"
    assert cause["parameter"]["dz"] == pytest.approx(-0.2)


def test_a_surface_that_did_not_change_says_nothing(tmp_path: Path) -> None:
    found = surfaces(tmp_path, [9.8, 10.0], then=10.0)
    assert not [each for each in found["tables"] if each["key"] == "earlier_surfaces"]
    assert not [text for text in found["remarks"] if "revision A" in text]
    assert found["summary"]["follow_older"] == 0


def test_shots_on_this_surface_raise_no_suspicion(tmp_path: Path) -> None:
    found = surfaces(tmp_path, [10.0, 10.01, 9.99])
    assert found["verdict"] == "within"
    assert not [text for text in found["remarks"] if "revision A" in text]


def test_the_report_of_all_that_is_written(tmp_path: Path) -> None:
    """Every kind of text above goes through the pages too."""
    from checker.run import build

    folder = tmp_path / "job"
    surfaces(folder, [9.80, 9.81, 9.79])
    build(folder, tmp_path / "out")
    page = tmp_path / "out" / "checks" / "pad.html"
    texts = [each.read_text() for each in (tmp_path / "out").rglob("*.html")]
    assert any("Shots against the surface of earlier revisions" in text for text in texts), page
    assert whole(folder).verdict is not None
    assert results(folder)["verdict"] == "outside"
