"""Broken books and sections of traverses, levels and figures: what is said. All are invented."""

from pathlib import Path

import pytest

from checker.errors import InputError, Problem
from tests.support.lines import run

HEAD = '[job]\ntitle = "Invented"\nunit = "metre"\n'
REFERENCE = '[reference]\ncrs = "{}"\n'
TRAVERSE = (
    '[[traverse]]\nname = "T"\nfile = "t.csv"\nshape = "loop"\nangles = "right"\n'
    "start = { n = 100, e = 100 }\nstart_azimuth = 10\n"
)
LEVELS = '[[levels]]\nname = "L"\nfile = "l.csv"\nstart = { elevation = 10 }\n'
FIGURE = '[[figure]]\nname = "F"\nfile = "f.csv"\n'
BOOK = "at,to,angle,distance\nA,B,90-00-00,100\nB,C,60-00-00,100\nC,A,60-00-00,100\n"
PAGE = "point,bs,fs\nA,1.5,\nB,,1.2\n"
LOT = "course,bearing,distance\n1,due east,10\n2,due north,10\n3,S 45 W,14.14\n"
WIRED = (
    "point,bs top,bs mid,bs bottom,fs top,fs mid,fs bottom\nA,1.6,1.7,1.5,,,\nB,,,,1.3,1.2,1.1\n"
)

CASES: list[tuple[str, dict[str, str], list[tuple[str, str, int | None]], str]] = [
    (
        REFERENCE.format("EPSG:4326") + TRAVERSE + 'azimuths = "geodetic"\n',
        {"t.csv": BOOK},
        [("no-convergence", "job.toml", 6)],
        '"EPSG:4326" is no grid',
    ),
    (
        TRAVERSE + 'azimuths = "geodetic"\n',
        {"t.csv": BOOK},
        [("missing-key", "job.toml", 11)],
        "convergence is not known",
    ),
    (
        TRAVERSE + "grid_factor = 0.9999\nscale_factor = 0.9998\n",
        {"t.csv": BOOK},
        [("conflicting-keys", "job.toml", 11)],
        "both grid_factor and scale_factor",
    ),
    (
        TRAVERSE,
        {"t.csv": BOOK.replace("B,C,", "A,B,91-00-00,100\nB,C,")},
        [("sets-apart", "t.csv", 3)],
        "repeats the leg of line 2, and its angle",
    ),
    (
        TRAVERSE,
        {"t.csv": BOOK.replace("B,C,", "A,B,90-00-00,101\nB,C,")},
        [("sets-apart", "t.csv", 3)],
        "its distance is not that",
    ),
    (
        TRAVERSE,
        {"t.csv": BOOK.replace("at,to", "face,at,to").replace("\n", "\nup,")[:-3]},
        [("bad-word", "t.csv", 2), ("bad-word", "t.csv", 3), ("bad-word", "t.csv", 4)],
        '"up" is no face',
    ),
    (
        TRAVERSE,
        {"t.csv": BOOK.replace("60-00-00", "90-00-00").replace("C,A,", "C,B,90-00-00,100\nB,A,")},
        [("repeated-station", "t.csv", 4)],
        'station "B" is reached again',
    ),
    (
        TRAVERSE.replace('"loop"', '"spiral"'),
        {"t.csv": BOOK},
        [("wrong-choice", "job.toml", 7)],
        "spiral",
    ),
    (
        LEVELS + 'collimation = "0.05 mm/m"\n',
        {"l.csv": PAGE},
        [("no-sight-lengths", "l.csv", None)],
        "length of every backsight",
    ),
    (
        LEVELS + "collimation = 0.05\n",
        {"l.csv": PAGE},
        [("bad-value", "job.toml", 8)],
        "0.05 is no collimation",
    ),
    (
        LEVELS + 'collimation = "5 cm/m"\n',
        {"l.csv": PAGE},
        [("bad-value", "job.toml", 8)],
        "5 cm/m",
    ),
    (
        LEVELS + "two_peg = { end = [1.6, 1.4], sights = [4, 44] }\n",
        {"l.csv": PAGE},
        [("missing-key", "job.toml", 8)],
        "middle",
    ),
    (
        LEVELS + "two_peg = { middle = [1.5, 1.3], end = [1.6], sights = [4, 44] }\n",
        {"l.csv": PAGE},
        [("bad-value", "job.toml", 8)],
        "end has 1 values; expected 2",
    ),
    (
        LEVELS + "two_peg = { middle = [1.5, 1.3], end = [1.6, 1.4], sights = [20, 20] }\n",
        {"l.csv": PAGE},
        [("bad-value", "job.toml", 8)],
        "equally long",
    ),
    (
        LEVELS + "two_peg = { middle = [1.5, 1.3], end = [3.6, 1.4], sights = [4, 44] }\n",
        {"l.csv": PAGE},
        [("bad-value", "job.toml", 8)],
        "mm in a metre",
    ),
    (
        LEVELS,
        {"l.csv": "from,to,rise,rise back\nA,B,1.5,1.499\n"},
        [("same-sign", "l.csv", 2)],
        "sign of the first",
    ),
    (LEVELS, {"l.csv": WIRED}, [("wire-order", "l.csv", 2)], "does not lie between"),
    (
        FIGURE + 'common = [{ course = "7", figure = "G", other = "1" }]\n'
        '[[figure]]\nname = "G"\nfile = "g.csv"\n',
        {"f.csv": LOT, "g.csv": LOT},
        [("unknown-course", "job.toml", 4)],
        'names the course "7"',
    ),
    (
        FIGURE + 'common = [{ course = "1", figure = "H", other = "1" }]\n',
        {"f.csv": LOT},
        [("unknown-section-name", "job.toml", 4)],
        '"H"',
    ),
    (
        FIGURE + 'common = [{ course = "1", other = "1" }]\n',
        {"f.csv": LOT},
        [("missing-key", "job.toml", 7)],
        "has no figure",
    ),
    (
        FIGURE + 'start = "P1"\n',
        {"f.csv": LOT},
        [("missing-section", "job.toml", 4)],
        "[control]",
    ),
    (
        FIGURE + 'tolerance = { area = "five" }\n',
        {"f.csv": LOT},
        [("bad-value", "job.toml", 7)],
        '"five" is no area',
    ),
    (
        FIGURE,
        {"f.csv": LOT.replace("due east,10", ",").replace("due north,10", ",10")},
        [
            ("missing-value", "f.csv", 2),
            ("missing-value", "f.csv", 2),
            ("missing-value", "f.csv", 3),
        ],
        "no direction",
    ),
]


def faults(folder: Path, job: str, files: dict[str, str]) -> list[Problem]:
    (folder / "job.toml").write_text(HEAD + job, encoding="utf-8")
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        run(folder)
    return list(caught.value.problems)


@pytest.mark.parametrize(("job", "files", "wanted", "says"), CASES)
def test_what_is_wrong_is_said_with_its_line(
    tmp_path: Path,
    job: str,
    files: dict[str, str],
    wanted: list[tuple[str, str, int | None]],
    says: str,
) -> None:
    found = faults(tmp_path, job, files)
    assert [(p.slug, Path(p.where.file).name, p.where.line) for p in found] == wanted
    assert says in " ".join(p.message for p in found)
    assert all(p.hint for p in found)
