"""What is doubtful about the limits of a job stands beside its verdict."""

from pathlib import Path

import pytest

from checker.cli import main
from checker.errors import InputError
from checker.model.finding import Results
from checker.report.render import render
from checker.run import check

DESIGN = "id,northing,easting,elevation\n1,100,200,10\n2,120,200,10\n3,100,230,10\n4,120,230,10\n"
SHOTS = DESIGN.replace("00,10", "00.003,10.002").replace("30,10", "29.996,9.997")
SOURCE = 'source = "section 7 of the contract (invented)"'


def job(
    folder: Path,
    limits: str,
    *,
    unit: str = "foot",
    head: str = "",
    design: str = DESIGN,
    shots: str = SHOTS,
) -> Path:
    text = (
        f'[job]\ntitle = "Pads (invented)"\nunit = "{unit}"\n{head}\n'
        '[design]\npoints = "design.csv"\n[measured]\nfiles = ["shots.csv"]\n'
        f"[tolerance.pads]\n{limits}\n"
        '[[stakeout]]\nname = "Pads"\ntolerance = "pads"\n'
    )
    (folder / "job.toml").write_text(text, encoding="utf-8")
    (folder / "design.csv").write_text(design, encoding="utf-8")
    (folder / "shots.csv").write_text(shots, encoding="utf-8")
    return folder


def slugs(results: Results) -> list[str]:
    return [
        notice.slug
        for notice in results.inputs.notices
        if notice.slug in ("large-limit", "limits-without-source", "placeholder-limits")
    ]


def test_agreed_limits_need_no_word(tmp_path: Path) -> None:
    results = check(job(tmp_path, f"horizontal = 0.05\nvertical = 0.05\n{SOURCE}"))
    assert (slugs(results), results.beware) == ([], ())
    assert b'class="beware"' not in render(results)["index.html"]


def test_placeholders_are_told_beside_the_verdict(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = job(tmp_path, 'horizontal = 0.05\nsource = "placeholder: not agreed by anybody yet"')
    results = check(folder)
    assert results.verdict.word == "within"
    assert slugs(results) == ["placeholder-limits"]
    said = "judged by limits that nobody has agreed to: Pads"
    assert said in results.beware[0]
    files = render(results)
    for page in ("index.html", "cut-sheet.html"):
        assert f"<li>{said[0].upper()}{said[1:]}" in files[page].decode()
    assert main(["check", str(folder)]) == 0
    assert f"beware: {said}" in capsys.readouterr().out


def test_placeholders_cannot_be_issued(tmp_path: Path) -> None:
    limits = 'horizontal = 0.05\nsource = "Placeholder: not agreed by anybody yet"'
    with pytest.raises(InputError) as caught:
        check(job(tmp_path, limits, head='status = "issued"'))
    (problem,) = caught.value.problems
    assert (problem.slug, problem.where.line) == ("issued-on-placeholders", 4)
    assert "Pads" in problem.message
    agreed = job(tmp_path, f"horizontal = 0.05\n{SOURCE}", head='status = "issued"')
    assert check(agreed).verdict.word == "within"


def test_limits_without_a_source_are_told(tmp_path: Path) -> None:
    results = check(job(tmp_path, "horizontal = 0.05"))
    assert slugs(results) == ["limits-without-source"]
    assert "Pads" in results.beware[0]


@pytest.mark.parametrize(
    ("limits", "unit", "told"),
    [
        ("vertical = 15", "foot", "vertical = 15 was read as 15 ft; was 15 mm meant?"),
        ("vertical = 15", "metre", "vertical = 15 was read as 15 m; was 15 mm meant?"),
        ('vertical = "15"', "foot", "read as 15 ft"),
        ('vertical = "15 ft"', "foot", ""),  # the unit is said
        ("vertical = 0.9", "foot", ""),
        ("vertical = 0.3", "metre", ""),
        ("vertical = 0.5", "metre", "read as 0.5 m"),
    ],
)
def test_a_large_limit_without_a_unit_is_asked_about(
    tmp_path: Path, limits: str, unit: str, told: str
) -> None:
    results = check(job(tmp_path, f"{limits}\n{SOURCE}", unit=unit))
    found = [each.message for each in results.inputs.notices if each.slug == "large-limit"]
    assert len(found) == bool(told)
    assert told in "".join(found)


@pytest.mark.parametrize(("limit", "told"), [("5.01 ft", True), ("5 ft", False)])
def test_a_limit_beyond_a_quarter_of_the_spacing_is_asked_about(
    tmp_path: Path, limit: str, *, told: bool
) -> None:
    """The pads stand 20 ft from their neighbours."""
    results = check(job(tmp_path, f'horizontal = "{limit}"\n{SOURCE}'))
    found = [each.message for each in results.inputs.notices if each.slug == "large-limit"]
    assert len(found) == told
    assert not told or "within 20 ft of another" in found[0]


def test_a_unit_that_may_be_wrong_stands_beside_the_verdict(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shots = DESIGN.replace("northing", "northing (ft)").replace("easting", "easting (ft)")
    far = "".join(f"{n},{9000 + n},{90000 + n},10\n" for n in range(1, 5))
    far = "id,northing,easting,elevation\n" + far
    folder = job(tmp_path, f"vertical = 0.05\n{SOURCE}", shots=far)
    results = check(folder)
    assert "elsewhere" in [notice.slug for notice in results.inputs.notices]
    assert results.beware[0].startswith("shots.csv: the points stand ")
    main(["check", str(folder)])
    assert "beware: shots.csv: the points stand " in capsys.readouterr().out
    folder = job(tmp_path, f"vertical = 0.05\n{SOURCE}", unit="us-survey-foot", shots=shots)
    told = [notice.slug for notice in check(folder).inputs.notices]
    assert ("which-foot" in told) == any("foot" in said for said in check(folder).beware)
