"""A new job from a drawing and its shots: it builds, argues its guesses, and overwrites nothing."""

import tomllib
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
import pytest

from checker.cli import main
from checker.errors import CheckerError, InputError, OutputError
from checker.model.finding import Results
from checker.report.job_text import PLACEHOLDER
from checker.run import check, new
from checker.units import JOB_UNITS, LengthUnit
from tests.support.drawings import labelled_drawing, lines_drawing, points_drawing

Point = tuple[str, float, float, float]

STAKES: list[Point] = [
    (str(101 + i), 512_000.0 + 20.0 * (i % 4), 618_000.0 + 25.0 * (i // 4), 46.0 + 0.1 * i)
    for i in range(12)
]


def shots(points: Iterable[Point], *, factor: float = 1.0, off: float = 0.004) -> list[Point]:
    return [(name, (n + off) * factor, (e - off) * factor, (z + off) * factor)
            for name, n, e, z in points]  # fmt: skip


def table(points: Iterable[Point], header: str = "Point,Northing,Easting,Elevation") -> str:
    rows = [f"{name},{n:.4f},{e:.4f},{z:.4f}" for name, n, e, z in points]
    return "\n".join(([header] if header else []) + rows) + "\n"


class Maker:
    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.inputs = folder / "inbox"
        self.inputs.mkdir()

    def put(self, name: str, content: str | bytes) -> Path:
        path = self.inputs / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    def drawing(self, points: Sequence[Point] = STAKES, **options: object) -> Path:
        given: dict[str, object] = {"layer": "STAKE", **options}
        return self.put("design.dxf", points_drawing(points, **given))  # type: ignore[arg-type]

    def new(self, drawing: Path, *points: Path, control: Path | None = None) -> "Made":
        said = new(self.folder / "site", drawing, points, control)
        return Made(self.folder / "site", said)


class Made:
    def __init__(self, folder: Path, said: list[str]) -> None:
        self.folder = folder
        self.said = "\n".join(said)
        self.text = (folder / "job.toml").read_text(encoding="utf-8")
        self.job = tomllib.loads(self.text)

    def results(self) -> Results:
        return check(self.folder)

    def counts(self) -> tuple[int, int]:
        """Return the rows within, and all that count."""
        counts = self.results().counts
        return next(n for v, n in counts.items() if v.word == "within"), sum(counts.values())


@pytest.fixture
def maker(tmp_path: Path) -> Maker:
    return Maker(tmp_path)


def test_a_drawing_and_a_table_make_a_job_that_builds(maker: Maker) -> None:
    made = maker.new(maker.drawing(), maker.put("rover.csv", table(shots(STAKES))))
    assert made.job["design"]["drawing"] == "design.dxf"
    assert made.job["measured"]["files"] == ["rover.csv"]
    assert [each["design"] for each in made.job["stakeout"]] == [{"layer": "STAKE"}]
    assert made.counts() == (12, 12)
    assert "12 of 12 design points have a shot" in made.said
    reads = made.folder / "rover.csv"
    assert f"copied into the folder: rover.csv; from now on the job reads {reads}" in made.said


def test_every_tolerance_is_a_placeholder_that_the_report_shows(maker: Maker) -> None:
    from checker.run import build

    control = maker.put("control.csv", table([("CP1", 511_990.0, 617_990.0, 45.0)]))
    proof = [("CP1", 511_990.003, 617_990.002, 45.01)]
    made = maker.new(
        maker.drawing(), maker.put("rover.csv", table([*shots(STAKES), *proof])), control=control
    )
    assert made.job["tolerance"]
    assert all(each["source"] == PLACEHOLDER for each in made.job["tolerance"].values())
    assert made.text.count("TO CONFIRM") > len(made.job["tolerance"])
    assert made.job["control"]["file"] == "control.csv"
    assert made.counts() == (13, 13)
    build(made.folder, maker.folder / "report")
    pages = "".join(
        path.read_text(encoding="utf-8") for path in (maker.folder / "report").rglob("*.html")
    )
    assert PLACEHOLDER in pages


@pytest.mark.parametrize(
    ("insunits", "header", "unit", "sure"),
    [
        (6, "Point,Northing,Easting,Elevation", LengthUnit.METRE, False),
        (2, "Point,Northing,Easting,Elevation", LengthUnit.FOOT, False),
        (21, "Point,Northing,Easting,Elevation", LengthUnit.US_SURVEY_FOOT, False),
        (0, "Point,Northing,Easting,Elevation", LengthUnit.METRE, False),
        (0, "Point,Northing (usft),Easting (usft),Elevation", LengthUnit.US_SURVEY_FOOT, True),
        (4, "Point,Northing (m),Easting (m),Elevation (m)", LengthUnit.METRE, True),
        (6, "Point,Northing (ft),Easting (ft),Elevation (ft)", LengthUnit.FOOT, True),
    ],
)
def test_the_unit_comes_from_the_table_then_from_the_header(
    maker: Maker, insunits: int, header: str, unit: LengthUnit, sure: bool
) -> None:
    made = maker.new(
        maker.drawing(insunits=insunits), maker.put("rover.csv", table(shots(STAKES), header))
    )
    assert made.job["job"]["unit"] == unit.value
    line = next(line for line in made.text.splitlines() if line.startswith("unit ="))
    assert ("TO CONFIRM" in line) is not sure
    assert "unit" not in made.job["design"]
    assert made.counts()[1] == 12


@pytest.mark.parametrize("ours", JOB_UNITS)
@pytest.mark.parametrize("theirs", list(LengthUnit))
def test_coordinates_decide_where_drawing_and_shots_are_in_different_units(
    maker: Maker, ours: LengthUnit, theirs: LengthUnit
) -> None:
    """At state plane coordinates even the two feet are told apart: 2 ppm of 618,000 is 1.2."""
    drawing = maker.drawing()
    factor = theirs.metres / ours.metres
    made = maker.new(drawing, maker.put("rover.csv", table(shots(STAKES, factor=factor))))
    if ours is theirs:
        assert "unit" not in made.job["design"]
    else:
        assert made.job["job"]["unit"] == ours.value
        assert made.job["design"]["unit"] == theirs.value
    assert made.counts() == (12, 12)


def test_shots_that_come_later_find_their_stakes(maker: Maker) -> None:
    """A list of numbers, or of descriptions, in the job file would leave them out."""
    first = STAKES[:6]
    second = [(f"2{name}", n + 300.0, e, z) for name, n, e, z in STAKES[:6]]
    text = labelled_drawing({"STRUCT": first, "FENCE": second, "TREES": [("T1", 1.0, 2.0, 3.0)]})
    rows = "Point,Northing,Easting,Elevation,Description\n"
    rows += "".join(f"{p},{n},{e},{z},HUB {p}\n" for p, n, e, z in shots(first))
    rows += "".join(f"{p},{n},{e},{z},FP{p}\n" for p, n, e, z in shots(second))
    made = maker.new(maker.put("design.dxf", text), maker.put("rover.csv", rows))
    assert [each["design"]["layer"] for each in made.job["stakeout"]] == ["FENCE", "STRUCT"]
    assert not any("measured" in each for each in made.job["stakeout"])
    assert "TREES: its one point has no shot of its number" in made.text
    assert made.counts() == (12, 12)
    short = rows.splitlines(keepends=True)
    (made.folder / "rover.csv").write_text("".join(short[:-1]))
    assert made.counts() == (11, 12)
    (made.folder / "rover.csv").write_text("".join(short[:-1]) + short[-1].replace(",FP", ",x"))
    assert made.counts() == (12, 12)


def test_a_layer_with_the_same_numbers_elsewhere_is_left_aside(maker: Maker) -> None:
    elsewhere = [(name, n + 900.0, e, z) for name, n, e, z in STAKES]
    text = labelled_drawing({"STAKE": STAKES, "OLD-REVISION": elsewhere})
    made = maker.new(maker.put("design.dxf", text), maker.put("rover.csv", table(shots(STAKES))))
    assert [each["design"]["layer"] for each in made.job["stakeout"]] == ["STAKE"]
    assert "OLD-REVISION: its numbers were shot 900.0" in made.text


def test_shots_of_other_numbers_are_matched_by_place(maker: Maker) -> None:
    renamed = [(f"X{i}", n, e, z) for i, (_, n, e, z) in enumerate(shots(STAKES))]
    made = maker.new(maker.drawing(), maker.put("rover.csv", table(renamed)))
    (stakeout,) = made.job["stakeout"]
    assert stakeout["match"] == "nearest"
    assert made.counts() == (12, 12)


def test_files_of_two_sites_still_make_a_job_and_say_so(maker: Maker) -> None:
    far = [(f"X{i}", 10.0 + i, 20.0, 3.0) for i in range(5)]
    made = maker.new(maker.drawing(), maker.put("rover.csv", table(far)))
    assert "LOOK HERE FIRST: no shot fits any design point" in made.said
    assert made.counts()[0] == 0
    assert made.results().verdict.word == "unchecked"


@pytest.mark.parametrize("order", ["PNEZD", "PENZD", "PNEZ", "NEZP", "ENP"])
@pytest.mark.parametrize("header", [False, True])
def test_columns_without_usual_headings_are_told_by_what_they_hold(
    maker: Maker, order: str, header: bool
) -> None:
    rng = np.random.default_rng(len(order))
    rows = []
    for name, n, e, z in shots(STAKES):
        cells = {"P": name, "N": f"{n:.3f}", "E": f"{e:.3f}", "Z": f"{z:.3f}", "D": "hub"}
        cells["D"] = str(rng.choice(["hub", "corner"]))
        rows.append(",".join(cells[letter] for letter in order))
    if header:
        words = {"P": "Stab", "N": "Hochwert", "E": "Rechts", "Z": "Kote", "D": "Art"}
        rows.insert(0, ",".join(words[letter] for letter in order))
    made = maker.new(maker.drawing(), maker.put("rover.csv", "\n".join(rows) + "\n"))
    columns = made.job["measured"]["columns"]
    wanted = {"P": "id", "N": "northing", "E": "easting", "Z": "elevation", "D": "description"}
    words = {"P": "Stab", "N": "Hochwert", "E": "Rechts", "Z": "Kote", "D": "Art"}
    if header:
        assert columns == {wanted[x]: words[x] for x in columns_in(order)}
    else:
        assert columns == {wanted[x]: str(order.index(x) + 1) for x in columns_in(order)}
    assert made.counts()[1] == 12
    assert made.counts()[0] == 12


def columns_in(order: str) -> list[str]:
    """Return the letters in the order in which a job maps them."""
    return [letter for letter in "PNEZD" if letter in order]


def test_a_table_of_nothing_like_points_is_refused(maker: Maker) -> None:
    with pytest.raises(InputError) as caught:
        maker.new(maker.drawing(), maker.put("rover.csv", "colour,shape\nred,round\nblue,long\n"))
    assert [p.slug for p in caught.value.problems] == ["unknown-columns"]
    assert not (maker.folder / "site").exists()


def test_rows_that_cannot_be_split_come_first(maker: Maker) -> None:
    """Found by random tables: no row was left to name the line of."""
    with pytest.raises(InputError) as caught:
        maker.new(maker.drawing(), maker.put("rover.csv", "Nr,Nr,Nr,Nr,H\n0,0,0,0,A,B\n"))
    assert [p.slug for p in caught.value.problems] == ["row-width"]


@pytest.mark.parametrize(
    ("design", "points", "control", "said"),
    [
        ("rover.csv", "design.dxf", None, "are --drawing and --points exchanged?"),
        ("rover.csv", "rover.csv", "design.dxf", "are --drawing and --control exchanged?"),
        ("design.dxf", "design.dxf", None, "exported as text"),
    ],
)
def test_a_drawing_for_a_table_is_told(
    maker: Maker, design: str, points: str, control: str | None, said: str
) -> None:
    maker.drawing()
    maker.put("rover.csv", table(shots(STAKES)))
    proof = None if control is None else maker.inputs / control
    with pytest.raises(InputError) as caught:
        maker.new(maker.inputs / design, maker.inputs / points, control=proof)
    (problem,) = caught.value.problems
    assert problem.slug == "drawing-for-table"
    assert said in problem.hint
    assert not (maker.folder / "site").exists()


def test_degrees_are_refused_before_anything_is_written(maker: Maker) -> None:
    with pytest.raises(InputError, match="no-frame"):
        maker.new(maker.drawing(), maker.put("rover.csv", "id,lat,lon\n101,40.1,-74.2\n"))
    assert not (maker.folder / "site").exists()


def test_numbers_shot_again_later_are_compared(maker: Maker) -> None:
    rows = "Point,Northing,Easting,Elevation,Time\n"
    for p, n, e, z in shots(STAKES):
        rows += f"{p},{n},{e},{z},2031-04-17T10:00:00Z\n"
    for p, n, e, z in shots(STAKES[:2], off=0.001):
        rows += f"{p},{n},{e},{z},2031-04-17T15:00:00Z\n"
    made = maker.new(maker.drawing(), maker.put("rover.csv", rows))
    (repeats,) = made.job["repeats"]
    assert repeats["apart"] == "20 min"
    kinds = {finding.measure.kind: finding for finding in made.results().findings}
    assert len(kinds["repeats"].measure.id) == 2


def test_the_numbers_may_stand_on_a_layer_of_their_own(maker: Maker) -> None:
    text = labelled_drawing({"STAKE": STAKES}, label_layer="NUMBERS")
    made = maker.new(maker.put("design.dxf", text), maker.put("rover.csv", table(shots(STAKES))))
    assert made.job["design"]["labels"] == {"layer": ["NUMBERS"]}
    assert made.counts() == (12, 12)


def test_a_design_may_be_a_table(maker: Maker) -> None:
    design = maker.put("stakes.csv", table(STAKES))
    made = maker.new(design, maker.put("rover.csv", table(shots(STAKES))))
    assert made.job["design"] == {"points": "stakes.csv"}
    assert made.counts() == (12, 12)


def test_a_layer_whose_number_stands_twice_is_handed_over_as_a_comment(maker: Maker) -> None:
    twice = [*STAKES, ("101", 512_010.0, 618_010.0, 46.0)]
    second = [(f"2{name}", n + 300.0, e, z) for name, n, e, z in STAKES[:6]]
    text = labelled_drawing({"BAD": twice, "GOOD": second})
    made = maker.new(
        maker.put("design.dxf", text), maker.put("rover.csv", table(shots([*STAKES, *second])))
    )
    assert [each["design"]["layer"] for each in made.job["stakeout"]] == ["GOOD"]
    assert "Left out, for as guessed it cannot be judged" in made.text
    assert '# name = "Stakes on BAD"' in made.text
    assert made.counts() == (6, 6)


def test_shots_high_above_the_design_are_asked_about(maker: Maker) -> None:
    high = [(name, n, e, z + 1.8) for name, n, e, z in STAKES]
    made = maker.new(maker.drawing(), maker.put("rover.csv", table(high)))
    assert "stand 1.800 m above the design" in made.text.replace("\n# ", " ")
    assert made.results().verdict.word == "outside"
    assert "stakes" in made.job["tolerance"]


@pytest.mark.parametrize("middle", [0.0, 0.4, -0.7])
def test_hubs_at_ground_are_judged_in_plan_alone_and_that_is_said(
    maker: Maker, middle: float
) -> None:
    lift = [0.3, -0.2, 0.05, 0.41, -0.33, 0.12, -0.05, 0.22, -0.4, 0.3, -0.1, 0.0]
    hubs = [(p, n, e, z + middle + up) for (p, n, e, z), up in zip(STAKES, lift, strict=True)]
    made = maker.new(maker.drawing(), maker.put("rover.csv", table(hubs)))
    assert list(made.job["tolerance"]["hubs"]) == ["horizontal", "source"]
    assert '# vertical = "15 mm"' in made.text
    assert "taken for hubs at ground" in made.said
    assert made.counts() == (12, 12)


def test_rough_heights_are_no_hubs_at_ground(maker: Maker) -> None:
    rough = [(p, n, e, z + 0.03 * (-1) ** i) for i, (p, n, e, z) in enumerate(STAKES)]
    made = maker.new(maker.drawing(), maker.put("rover.csv", table(rough)))
    assert "hubs" not in made.job["tolerance"]
    assert made.results().verdict.word == "outside"


@pytest.mark.parametrize("insunits", [0, 1, 4, 6])  # what the header says decides nothing
@pytest.mark.parametrize(
    ("unit", "metres"), [("millimetre", 0.001), ("centimetre", 0.01), ("inch", 0.0254)]
)
def test_a_drawing_in_small_units_is_read_in_them(
    maker: Maker, unit: str, metres: float, insunits: int
) -> None:
    drawn = [(name, n / metres, e / metres, z / metres) for name, n, e, z in STAKES]
    rover = maker.put("rover.csv", table(shots(STAKES)))
    made = maker.new(maker.drawing(drawn, insunits=insunits), rover)
    assert made.job["job"]["unit"] == "metre"
    assert made.job["design"]["unit"] == unit
    assert "LOOK HERE FIRST" not in made.said
    assert "both files are in one unit" not in made.said
    assert made.counts() == (12, 12)


def test_without_common_numbers_the_header_is_tried_by_the_extents(maker: Maker) -> None:
    drawn = [(f"A{i}", n * 1000, e * 1000, z * 1000) for i, (_, n, e, z) in enumerate(STAKES)]
    rover = maker.put("rover.csv", table(shots(STAKES)))
    made = maker.new(maker.drawing(drawn, insunits=4), rover)
    assert (made.job["job"]["unit"], made.job["design"]["unit"]) == ("metre", "millimetre")
    assert "its middle lies among the shots" in made.said
    assert made.counts() == (12, 12)  # matched by place


def test_a_header_of_millimetres_over_metres_is_not_believed(maker: Maker) -> None:
    rover = maker.put("rover.csv", table(shots(STAKES)))
    made = maker.new(maker.drawing(insunits=4), rover)
    assert made.job["job"]["unit"] == "metre"
    assert "unit" not in made.job["design"]
    assert made.counts() == (12, 12)


def test_units_that_do_not_bring_files_together_are_not_said_to(maker: Maker) -> None:
    far = [(name, n + 9e5, e + 3e5, z) for name, n, e, z in STAKES]
    made = maker.new(maker.drawing(far), maker.put("rover.csv", table(shots(STAKES))))
    assert "no pair of units brings them together" in made.said


def test_a_drawing_in_degrees_is_refused(maker: Maker) -> None:
    degrees = [(name, 33.0 + n * 1e-9, -99.9 + e * 1e-9, z) for name, n, e, z in STAKES]
    drawing = maker.drawing(degrees)
    rover = maker.put("rover.csv", table(shots(STAKES)))
    with pytest.raises(InputError, match="look like degrees") as caught:
        maker.new(drawing, rover)
    assert [problem.slug for problem in caught.value.problems] == ["no-frame"]
    assert not (maker.folder / "site").exists()


def test_a_job_is_never_overwritten(maker: Maker) -> None:
    drawing, rover = maker.drawing(), maker.put("rover.csv", table(shots(STAKES)))
    made = maker.new(drawing, rover)
    with pytest.raises(OutputError, match="never overwritten"):
        maker.new(drawing, rover)
    assert (made.folder / "job.toml").read_text(encoding="utf-8") == made.text


def test_another_file_of_the_same_name_is_never_overwritten(maker: Maker) -> None:
    site = maker.folder / "site"
    site.mkdir()
    (site / "rover.csv").write_text("mine")
    with pytest.raises(OutputError, match="another file of this name"):
        maker.new(maker.drawing(), maker.put("rover.csv", table(shots(STAKES))))
    assert sorted(path.name for path in site.iterdir()) == ["rover.csv"]
    assert (site / "rover.csv").read_text() == "mine"


def test_files_that_lie_in_the_folder_stay_where_they_are(maker: Maker) -> None:
    drawing, rover = maker.drawing(), maker.put("rover.csv", table(shots(STAKES)))
    said = new(maker.inputs, drawing, [rover])
    assert not any("copied" in line for line in said)
    assert sorted(path.name for path in maker.inputs.iterdir()) == [
        "design.dxf",
        "job.toml",
        "rover.csv",
    ]


def test_two_files_of_one_name_get_names_of_their_own(maker: Maker) -> None:
    (maker.inputs / "day2").mkdir()
    first = maker.put("rover.csv", table(shots(STAKES[:6])))
    second = maker.put("day2/rover.csv", table(shots(STAKES[6:])))
    made = maker.new(maker.drawing(), first, second)
    assert made.job["measured"]["files"] == ["rover.csv", "rover-2.csv"]
    assert made.counts() == (12, 12)


def test_a_folder_that_cannot_be_written_leaves_nothing(maker: Maker) -> None:
    blocker = maker.put("site.txt", "a file")
    with pytest.raises(CheckerError):
        new(
            blocker,
            maker.drawing(),
            [maker.put("rover.csv", table(shots(STAKES)))],
        )
    with pytest.raises(OutputError, match="cannot be written"):
        new(
            blocker / "below",
            maker.drawing(),
            [maker.put("rover.csv", table(shots(STAKES)))],
        )
    assert blocker.read_text() == "a file"


def test_names_with_quotes_and_odd_signs_stay_toml(maker: Maker) -> None:
    layer = "A 'B' # Ü"
    text = labelled_drawing({layer: STAKES})
    rover = maker.put('ro"ver Ü.csv', table(shots(STAKES)))
    made = maker.new(maker.put("design.dxf", text), rover)
    assert made.job["measured"]["files"] == ['ro"ver Ü.csv']
    assert made.counts() == (12, 12)


def test_the_command_says_what_was_guessed_and_what_comes_next(
    maker: Maker, capsys: pytest.CaptureFixture[str]
) -> None:
    drawing, rover = maker.drawing(), maker.put("rover.csv", table(shots(STAKES)))
    site = maker.folder / "north abutment"
    arguments = ["new", str(site), "--drawing", str(drawing), "--points", str(rover)]
    assert main(arguments) == 0
    said = capsys.readouterr().out
    assert "unit: metres, to confirm" in said
    assert f"checker build '{site}'" in said
    assert main(["check", str(site)]) == 0
    assert main(arguments) == 2


def test_the_demonstration_could_have_been_begun_this_way(tmp_path: Path) -> None:
    demo = Path(__file__).resolve().parents[2] / "demo_job"
    new(
        tmp_path / "site",
        demo / "design.dxf",
        [demo / "rover-day1.csv", demo / "rover-day2.csv"],
        demo / "control.csv",
    )
    made = Made(tmp_path / "site", [])
    assert made.job["job"]["unit"] == "us-survey-foot"
    assert {each["design"]["layer"] for each in made.job["stakeout"]} >= {
        "STAKE-BOLTS",
        "STAKE-STRUCT",
    }
    assert made.counts()[0] > 40


def test_shots_along_a_drawn_line_are_compared_across_it(maker: Maker) -> None:
    curb = [(600.0, 500.0), (700.0, 500.0), (760.0, 540.0)]
    drawing = maker.put(
        "design.dxf", lines_drawing({"CURB": [curb], "FENCE": [[(0.0, 0.0), (90.0, 0.0)]]})
    )
    along = [(f"C{i}", 500.004, 605.0 + 10.0 * i, 20.0) for i in range(8)]
    stray = [("S1", 900.0, 900.0, 20.0)]
    made = maker.new(drawing, maker.put("rover.csv", table([*along, *stray])))
    (stakeout,) = made.job["stakeout"]
    assert (stakeout["match"], stakeout["design"]) == ("line", {"layer": "CURB"})
    assert "measured" not in stakeout
    assert list(made.job["tolerance"]["lines"]) == ["across", "source"]
    assert made.counts() == (8, 8)
    assert len(made.results().unused) == 1


def test_a_line_beside_other_shots_names_its_own(maker: Maker) -> None:
    """Found by place, a second line 0.5 m away would take them all."""
    back = [(600.0, 500.0), (700.0, 500.0)]
    front = [(600.0, 500.5), (700.0, 500.5)]
    drawing = maker.put("design.dxf", lines_drawing({"BACK": [back], "FRONT": [front]}))
    rows = [(f"B{i}", 500.004, 605.0 + 10.0 * i, 20.0) for i in range(8)]
    rows += [(f"F{i}", 500.504, 605.0 + 10.0 * i, 20.0) for i in range(8)]
    made = maker.new(drawing, maker.put("rover.csv", table(rows)))
    ids = {each["design"]["layer"]: each["measured"]["id"] for each in made.job["stakeout"]}
    assert ids == {"BACK": [f"B{i}" for i in range(8)], "FRONT": [f"F{i}" for i in range(8)]}
    assert made.text.count("# a shot that comes later must be added here") == 2
    assert made.counts() == (16, 16)


def test_stakes_and_lines_stand_side_by_side(maker: Maker) -> None:
    document = labelled_drawing({"STAKE": STAKES})
    made = maker.new(maker.put("design.dxf", document), maker.put("rover.csv", table(STAKES)))
    assert [each.get("match") for each in made.job["stakeout"]] == [None]


def test_a_drawing_without_points_and_lines_near_shots_is_refused(maker: Maker) -> None:
    drawing = maker.put("design.dxf", lines_drawing({"FENCE": [[(0.0, 0.0), (90.0, 0.0)]]}))
    with pytest.raises(InputError, match="no-design-points"):
        maker.new(drawing, maker.put("rover.csv", table(STAKES)))
    assert not (maker.folder / "site").exists()


def test_control_alone_makes_no_stakeout_of_its_own_layer(maker: Maker) -> None:
    marks = [(f"CP{i}", 512_000.0 + 50 * i, 617_900.0, 44.0) for i in range(3)]
    text = labelled_drawing({"STAKE": STAKES, "CONTROL": marks})
    made = maker.new(
        maker.put("design.dxf", text),
        maker.put("rover.csv", table(shots([*STAKES, *marks]))),
        control=maker.put("control.csv", table(marks)),
    )
    assert [each["design"]["layer"] for each in made.job["stakeout"]] == ["STAKE"]
    assert "CONTROL: its points are control" in made.text


def test_shots_far_from_the_design_of_their_numbers_are_asked_about(maker: Maker) -> None:
    moved = [(name, n + 45.0, e, z) for name, n, e, z in STAKES]
    made = maker.new(maker.drawing(), maker.put("rover.csv", table(moved)))
    assert "LOOK HERE FIRST: numbers agree, but their shots lie 45.0 m off" in made.said


@pytest.mark.parametrize(
    ("insunits", "unit"), [(2, LengthUnit.FOOT), (21, LengthUnit.US_SURVEY_FOOT)]
)
def test_near_the_origin_the_feet_fit_alike_and_the_header_decides(
    maker: Maker, insunits: int, unit: LengthUnit
) -> None:
    near = [(name, n - 511_900.0, e - 617_900.0, z) for name, n, e, z in STAKES]
    metric = maker.put("rover.csv", table(shots(near, factor=unit.metres)))
    made = maker.new(maker.drawing(near, insunits=insunits), metric)
    assert made.job["job"]["unit"] == "metre"
    assert made.job["design"]["unit"] == unit.value
    assert "which foot is not shown by numbers" in made.said
    assert "unit: metres, to confirm" in made.said
    assert made.counts() == (12, 12)
