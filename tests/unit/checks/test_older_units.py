"""An earlier revision in another unit than the design: stated, or asked about."""

from pathlib import Path

import numpy as np
import pytest

from checker.model.finding import Results
from checker.run import check
from checker.units import LengthUnit
from tests.support.lines import dxf

POINTS = [
    ("1", 5100.25, 6200.5),
    ("2", 5120.75, 6200.125),
    ("3", 5100.0, 6230.75),
    ("4", 5120.5, 6230.25),
]
STALE = ("2", 5121.25, 6200.125)
SOURCE = 'source = "section 7 of the contract (invented)"'


def table(rows: list[tuple[str, float, float]], factor: float = 1.0) -> str:
    lines = [f"{i},{n * factor:.4f},{e * factor:.4f},{10 * factor:.4f}" for i, n, e in rows]
    return "\n".join(["id,northing,easting,elevation", *lines]) + "\n"


def run(
    folder: Path,
    older: str,
    before: str,
    *,
    name: str = "a.csv",
    ground: str = "",
    unit: str = "metre",
) -> Results:
    text = (
        f'[job]\ntitle = "Pads (invented)"\nunit = "{unit}"\n{ground}\n'
        f'[design]\npoints = "design.csv"\nolder = [{older}]\n[measured]\nfiles = ["shots.csv"]\n'
        f'[[stakeout]]\nname = "Pads"\ntolerance = {{ horizontal = "30 mm", {SOURCE} }}\n'
    )
    shots = [POINTS[0], (STALE[0], STALE[1] + 0.004, STALE[2]), *POINTS[2:]]
    files = {"job.toml": text, "design.csv": table(POINTS), "shots.csv": table(shots), name: before}
    for file, content in files.items():
        (folder / file).write_text(content, encoding="utf-8")
    return check(folder)


def said(results: Results, slug: str) -> list[str]:
    return [each.message for each in results.inputs.notices if each.slug == slug]


def follows(results: Results) -> bool:
    (found,) = results.findings
    return any("where revision A put it" in str(text) for text in found.row_reason.tolist())


BEFORE = [POINTS[0], STALE, *POINTS[2:]]


@pytest.mark.parametrize(
    ("unit", "metres"),
    [("millimetre", 1e-3), ("foot", 0.3048), ("us-survey-foot", 1200 / 3937), ("inch", 0.0254)],
)
def test_an_older_revision_has_a_unit_of_its_own(tmp_path: Path, unit: str, metres: float) -> None:
    entry = f'{{ file = "a.csv", revision = "A", unit = "{unit}" }}'
    results = run(tmp_path, entry, table(BEFORE, 1 / metres))
    assert follows(results)
    assert said(results, "older-unit") == []
    (changed,) = said(results, "design-changed")
    assert changed == "since revision A, of 4 design points: 1 moved (2)"


@pytest.mark.parametrize(
    ("unit", "metres"), [("millimetre", 1e-3), ("foot", 0.3048), ("us-survey-foot", 1200 / 3937)]
)
@pytest.mark.parametrize(
    "ground",
    ["", "[reference]\nground = { combined_factor = 0.9996, origin = { n = 5000, e = 6000 } }"],
)
def test_a_unit_that_is_not_stated_is_asked_about(
    tmp_path: Path, unit: str, metres: float, ground: str
) -> None:
    entry = '{ file = "a.csv", revision = "A" }'
    results = run(tmp_path, entry, table(POINTS, 1 / metres), ground=ground)
    (told,) = said(results, "older-unit")
    words = LengthUnit(unit).words
    if unit == "us-survey-foot":  # on so small a site either foot fits
        assert " feet most of its points" in told
    else:
        assert (
            f"it was read in metres, and read in {words} most of its points would be where" in told
        )
        assert f'write unit = "{unit}" in its entry' in told
    assert f"{told}." in results.beware
    assert said(results, "design-changed") == []


@pytest.mark.parametrize("change", ["moved", "scaled", "few"])
def test_a_redesign_is_no_other_unit(tmp_path: Path, change: str) -> None:
    before = {
        "moved": [(i, n + 0.5, e - 2.0) for i, n, e in POINTS],
        "scaled": [(i, n / 0.9996, e / 0.9996) for i, n, e in POINTS],
        "few": [(i, n / 0.3048, e / 0.3048) for i, n, e in POINTS[:2]],
    }[change]
    results = run(tmp_path, '{ file = "a.csv", revision = "A" }', table(before))
    assert said(results, "older-unit") == []
    assert len(said(results, "design-changed")) == 1


def test_one_stake_that_moved_hides_no_unit(tmp_path: Path) -> None:
    """Of twelve points one was moved since: the others tell the unit."""
    rows = [(str(i), 5100.0 + 7.5 * i, 6200.0 + 3.25 * (i % 4)) for i in range(12)]
    before = [rows[0], (rows[1][0], rows[1][1] + 5.0, rows[1][2]), *rows[2:]]
    (tmp_path / "d").mkdir()
    text = (
        '[job]\ntitle = "Pads (invented)"\nunit = "metre"\n[design]\npoints = "design.csv"\n'
        'older = ["a.csv"]\n[measured]\nfiles = ["design.csv"]\n[[stakeout]]\nname = "Pads"\n'
        'tolerance = { horizontal = "30 mm" }\n'
    )
    (tmp_path / "d" / "job.toml").write_text(text.replace('["design.csv"]', '["shots.csv"]'))
    (tmp_path / "d" / "design.csv").write_text(table(rows))
    (tmp_path / "d" / "shots.csv").write_text(table([(i, n + 0.01, e) for i, n, e in rows]))
    (tmp_path / "d" / "a.csv").write_text(table(before, 1 / 0.3048))
    (told,) = said(check(tmp_path / "d"), "older-unit")
    assert 'the earlier revision, "a.csv", seems to be in another unit' in told


def test_the_header_of_an_older_drawing_is_believed_no_further(tmp_path: Path) -> None:
    drawing = dxf(lines=[("CL", (6200, 5100), (6230, 5120))], insunits=4)
    results = run(tmp_path, '{ file = "a.dxf", revision = "A" }', drawing, name="a.dxf")
    told = said(results, "header-unit")
    assert told
    assert told[0].startswith("the header says millimetres, the job says metres")
    assert any(text.startswith("a.dxf: the header says millimetres") for text in results.beware)


def test_the_header_of_an_older_drawing_speaks_for_no_cause(tmp_path: Path) -> None:
    """All shots are in feet in a job of metres; that an old drawing says feet is no evidence."""
    drawing = dxf(lines=[("CL", (6200, 5100), (6230, 5120))], insunits=2)
    rows = [(str(i), 5100.0 + 7.5 * i, 6200.0 + 3.25 * (i % 4)) for i in range(12)]
    text = (
        '[job]\ntitle = "Pads (invented)"\nunit = "metre"\n[design]\npoints = "design.csv"\n'
        'older = ["a.dxf"]\n[measured]\nfiles = ["shots.csv"]\n[[stakeout]]\nname = "Pads"\n'
        f'tolerance = {{ horizontal = "30 mm", {SOURCE} }}\n'
    )
    files = {"job.toml": text, "design.csv": table(rows), "a.dxf": drawing}
    rng = np.random.default_rng(5)
    noisy = [
        (i, n + a, e + b)
        for (i, n, e), (a, b) in zip(rows, rng.normal(0, 0.004, (12, 2)), strict=True)
    ]
    files["shots.csv"] = table(noisy, 1 / 0.3048)
    for file, content in files.items():
        (tmp_path / file).write_text(content, encoding="utf-8")
    results = check(tmp_path)
    assert said(results, "header-unit")
    (found,) = [each for each in results.diagnosed.diagnoses if each.cause.blunder == "unit-factor"]
    assert "audit of the drawing" not in found.says
