"""Files that were damaged on the way, and what must hold for whatever is made of them.

A trial is named by its kind and a number: the same number gives the same bytes. What must hold:
the reader returns a model, or raises `InputError` in which every problem has a message and a hint;
a whole job gives a report whose numbers are finite and whose files are those of its manifest, or
nothing at all.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import random
import re
import shutil
from collections.abc import Callable, Mapping
from functools import cache, partial
from pathlib import Path
from typing import Any

from checker.cli import main
from checker.errors import CheckerError, InputError
from checker.model.job import AngleKind, Labels
from checker.read.alignments import (
    read_elements,
    read_profile,
    read_stakes,
    read_superelevation,
)
from checker.read.drawing import read_drawing
from checker.read.faces import read_faces
from checker.read.figure_book import read_figure_book
from checker.read.files import Source
from checker.read.job import read_job
from checker.read.level_book import read_level_book
from checker.read.points import read_points
from checker.read.sights import read_sight_book
from checker.read.traverse_book import read_traverse_book
from checker.read.vectors import read_vector_book
from checker.report.render import render
from checker.run import check
from checker.units import AngleFormat, LengthUnit
from tests.support import small_jobs as made
from tests.support.drawings import zoo

Chance = random.Random
Mutation = Callable[[bytes, Chance], bytes]

NUMBERS = (
    "0", "1", "-1", "1e308", "-1e308", "nan", "inf", "-inf", "1e400", "999999999999999999",
    "1e-320", "2147483648", "0.1.2", "1,5", "--5", "+", "1_000", "0x10", "9" * 400, "١٢", "½",
)  # fmt: skip
TEXTS = (
    "", " ", "x", '"', '""', "'", ",", ";", "\t", "|", "\x00", "\x1b[2J", "\x1b]0;WITHIN\x07", "\r",
    "é", "\ufeff", "\u202e", "\u2066", "\ud7ff", "=1+1", "@SUM(A1)", "<script>", "&amp;", "%%u",
    "\\U+D800", "a" * 300, "-", "#", "//", "1 2", "N", "id", "M1 OUT", "CP1", "12-61-00", "N 91 E",
    "2031-13-45", "2 m", "-2 %", "1:0", "fixed",
)  # fmt: skip
CAD = (
    "LINE", "INSERT", "SECTION", "ENDSEC", "EOF", "SEQEND", "VERTEX", "POLYLINE", "3DFACE", "MESH",
    "BLOCK", "ENDBLK", "PEG", "RING", "*Model_Space", "70", "8",
)  # fmt: skip
TOML = (
    "true", "-1", "0", "1e999", "nan", "inf", '"\\u0000"', '"\\u202e"', "[]", "{}", "[[]]",
    "[" * 50, "2031-04-17", '"1:10"', '"5 mm"', '""', '"*"', '"../../etc/passwd"', '"/dev/zero"',
    '"."', '{ layer = "*" }', '["1", "1"]', '"a\\nb"', "'''x'''", "1979-05-27T07:32:00Z",
    "9" * 5000,
)  # fmt: skip


# ---------------------------------------------------------------- damage


def cut(data: bytes, chance: Chance) -> bytes:
    """The end is lost."""
    return data[: chance.randrange(len(data) + 1)]


def flip(data: bytes, chance: Chance) -> bytes:
    """A few bytes are others."""
    changed = bytearray(data)
    for _ in range(chance.randint(1, 8)):
        if changed:
            changed[chance.randrange(len(changed))] = chance.randrange(256)
    return bytes(changed)


def lines(data: bytes, chance: Chance) -> bytes:
    """Lines are lost, doubled, exchanged or replaced."""
    rows = data.split(b"\n")
    for _ in range(chance.randint(1, 5)):
        at, other = chance.randrange(len(rows)), chance.randrange(len(rows))
        match chance.randrange(5):
            case 0:
                rows[at] = chance.choice(NUMBERS + TEXTS + CAD).encode("utf-8", "replace")
            case 1:
                del rows[at : at + chance.choice((1, 2, 2, 4, 20))]
            case 2:
                rows[at:at] = rows[other : other + chance.choice((1, 2, 4, 20))]
            case 3:
                rows[at], rows[other] = rows[other], rows[at]
            case _:
                rows[at] = rows[at] + rows[other]
        rows = rows or [b""]
    return b"\n".join(rows)


_PARTS = re.compile(rb"[^,;\t|\n=\[\]{}]+")


def cells(data: bytes, chance: Chance) -> bytes:
    """The structure stands, and some values are others."""
    spans = [match.span() for match in _PARTS.finditer(data)]
    chosen = sorted(chance.sample(spans, min(len(spans), chance.randint(1, 4))), reverse=True)
    for start, end in chosen:
        word = chance.choice(NUMBERS + TEXTS).encode("utf-8", "replace")
        data = data[:start] + word + data[end:]
    return data


def values(data: bytes, chance: Chance) -> bytes:
    """Values of a TOML file are others."""
    rows = data.split(b"\n")
    held = [number for number, row in enumerate(rows) if b"=" in row]
    for at in chance.sample(held, min(len(held), chance.randint(1, 3))):
        key = rows[at].partition(b"=")[0]
        rows[at] = key + b"= " + chance.choice(TOML + NUMBERS).encode("utf-8", "replace")
    return b"\n".join(rows)


def letters(data: bytes, chance: Chance) -> bytes:
    """Written in other letters, or with other line ends."""
    text = data.decode("utf-8", "replace")
    codec = chance.choice(("utf-16", "utf-16-le", "utf-8-sig", "cp1252", "cp037", "utf-32"))
    text = text.replace("\n", chance.choice(("\n", "\r\n", "\r", "\n\n", "\x0b", "\u2028")))
    return text.encode(codec, "replace")


def noise(data: bytes, chance: Chance) -> bytes:
    """Something else altogether."""
    length = chance.choice((0, 1, 3, 40, 400, len(data)))
    if chance.random() < 0.5:
        return chance.randbytes(length)
    return "".join(chance.choice(NUMBERS + TEXTS) + "\n," for _ in range(length // 8)).encode(
        "utf-8", "replace"
    )


def grown(data: bytes, chance: Chance) -> bytes:
    """A piece of it stands there many times."""
    at = chance.randrange(len(data) + 1)
    piece = data[at : at + chance.choice((1, 10, 100))]
    return data[:at] + piece * chance.choice((10, 100, 1000)) + data[at:]


def again(data: bytes, chance: Chance) -> bytes:
    """Two kinds of damage, one after the other."""
    for mutation in chance.choices((cut, flip, lines, cells), k=2):
        data = mutation(data, chance)
    return data


MUTATIONS: tuple[Mutation, ...] = (
    cut, flip, lines, lines, cells, cells, cells, letters, noise, grown, again,
)  # fmt: skip


# ---------------------------------------------------------------- what must hold


def sound(fault: CheckerError) -> None:
    """Assert that a refusal says what is wrong and what to do, and can be shown anywhere."""
    assert str(fault).strip()
    str(fault).encode("utf-8")
    if isinstance(fault, InputError):
        assert fault.problems
        for problem in fault.problems:
            assert problem.message.strip()
            assert problem.hint.strip()
            assert problem.slug


def whole(files: Mapping[str, bytes]) -> dict[str, Any]:
    """Assert that a report is all there and holds finite numbers only; return its results."""
    manifest = json.loads(files["manifest.json"])
    assert {entry["path"] for entry in manifest["files"]} == set(files) - {"manifest.json"}
    for entry in manifest["files"]:
        data = files[entry["path"]]
        assert entry["bytes"] == len(data)
        assert entry["sha256"] == hashlib.sha256(data).hexdigest()
    document: dict[str, Any] = json.loads(files["results.json"], parse_constant=_no_constant)
    assert document["verdict"] in {"within", "outside", "undecided", "unchecked"}
    return document


def _no_constant(word: str) -> None:
    raise AssertionError(f"{word} in results.json")


def folder_files(folder: Path) -> dict[str, bytes]:
    """Return every file below a folder, by its relative path."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


# ---------------------------------------------------------------- trials

METRE = LengthUnit.METRE
Reader = Callable[[Source], object]


def _book(reader: Callable[..., object], **more: object) -> Reader:
    return lambda source: reader(source, unit=METRE, columns={}, notices=[], **more)


def _points(source: Source) -> object:
    return read_points([source], unit=METRE, columns={}, role="points", unique=False)


def _degrees(source: Source) -> object:
    return read_points(
        [source],
        unit=METRE,
        columns={},
        role="points",
        unique=False,
        crs_from="EPSG:6318",
        crs_to="EPSG:6527",
    )


def _faces(source: Source) -> object:
    corners = Source(path="corners.csv", data=CORNERS.encode())
    return read_faces(corners, source, unit=METRE, columns={})


def _drawing(source: Source) -> object:
    return read_drawing(source, unit=METRE, labels=Labels(elevation_text=True))


CORNERS = "id,northing,easting,elevation\n1,0,0,1\n2,10,0,2\n3,10,10,2\n4,0,10,1\n"
FACES = "a,b,c\n1,2,3\n1,3,4\n"
LONGITUDES = "id,latitude,longitude,height\n1,39.1,-83.2,200\n2,39-06-10.5,83-12-01 W,201.5\n"
GEOJSON = json.dumps(
    {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "properties": {"id": str(number), "code": "HUB"},
                "geometry": {"type": "Point", "coordinates": [-83.2 - number / 1e4, 39.1, 200.5]},
            }
            for number in range(4)
        ],
    }
)
SIGHTS = """\
at,to,azimuth,angle,distance,zenith
A,B,90-00-00,,100.001,
A,C,,45-00-03,141.422,
B,C,0-00-02,,100.002,
"""
_SETS = AngleFormat.SEXAGESIMAL
READERS: dict[str, tuple[Reader, tuple[str, ...]]] = {
    "points": (_points, (made.SHOTS, made.STAKES, made.CONTROL, made.ROAD_SHOTS)),
    "degrees": (_degrees, (LONGITUDES, GEOJSON)),
    "traverse": (
        _book(read_traverse_book, angles=AngleKind.RIGHT, angle_format=_SETS),
        (made.TRAVERSE,),
    ),
    "levels": (_book(read_level_book), (made.LEVELS, made.RISES)),
    "vectors": (_book(read_vector_book), (made.VECTORS,)),
    "figure": (_book(read_figure_book, angle_format=_SETS), (made.FIGURE,)),
    "sights": (_book(read_sight_book, angle_format=_SETS), (SIGHTS,)),
    "profile": (_book(read_profile), (made.PROFILE,)),
    "elements": (_book(read_elements), (made.ELEMENTS,)),
    "superelevation": (_book(read_superelevation), (made.SUPER,)),
    "stakes": (_book(read_stakes), (made.EDGE,)),
    "faces": (_faces, (FACES,)),
}


@cache
def _drawings() -> tuple[bytes, ...]:
    with made.unstamped():
        return (
            *(zoo(version) for version in ("R12", "R2000", "R2010")),
            *(zoo(version, binary=True) for version in ("R12", "R2010")),
            made.road_drawing(),
        )


def _read(reader: Reader, path: str, data: bytes) -> None:
    with contextlib.suppress(InputError):
        try:
            reader(Source(path=path, data=data))
        except InputError as fault:
            sound(fault)
            raise


def table_trial(chance: Chance, _: Path) -> None:
    """One damaged table before its reader."""
    reader, bases = READERS[chance.choice(sorted(READERS))]
    _read(reader, "t.csv", _damaged(chance.choice(bases).encode(), chance))


def drawing_trial(chance: Chance, _: Path) -> None:
    """One damaged drawing."""
    _read(_drawing, "d.dxf", _damaged(chance.choice(_drawings()), chance))


def job_trial(chance: Chance, folder: Path) -> None:
    """One damaged job file."""
    base = chance.choice([files["job.toml"] for files in made.small_jobs().values()])
    mutation = chance.choice((values, values, *MUTATIONS))
    _read(partial(_job, folder), "job.toml", mutation(base, chance))


def _job(folder: Path, source: Source) -> object:
    return read_job(source, folder)


def _damaged(data: bytes, chance: Chance) -> bytes:
    return chance.choice(MUTATIONS)(data, chance)


def _damaged_job(chance: Chance, folder: Path) -> None:
    """Write a job with one to three damaged files."""
    files = dict(made.small_jobs()[chance.choice(sorted(made.small_jobs()))])
    for name in chance.sample(sorted(files), min(len(files), chance.choice((1, 1, 1, 2, 3)))):
        kinds = (values, values, *MUTATIONS) if name == "job.toml" else (cells, *MUTATIONS)
        files[name] = chance.choice(kinds)(files[name], chance)
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    for name, data in files.items():
        (folder / name).write_bytes(data)


def whole_trial(chance: Chance, folder: Path) -> None:
    """A whole job with damaged files: read, judged and rendered, or refused."""
    job = folder / "job"
    _damaged_job(chance, job)
    try:
        results = check(job)
    except InputError as fault:
        sound(fault)
        return
    whole(render(results, single_file=chance.random() < 0.2))


def build_trial(chance: Chance, folder: Path) -> None:
    """A whole job through the command line: the old report or the new one, and no traceback."""
    job, site = folder / "job", folder / "site"
    _damaged_job(chance, job)
    before = folder_files(site) if site.is_dir() else {}
    status, out, err = command("build", str(job), "--out", str(site))
    assert status in {0, 1, 2}, err
    assert "\x1b" not in out + err
    after = folder_files(site) if site.is_dir() else {}
    if status == 2:
        assert err.strip()
        assert after == before
    else:
        document = whole(after)
        assert (status == 0) == (document["verdict"] == "within")
    assert {path.name for path in folder.iterdir()} <= {"job", "site"}


def show_trial(chance: Chance, folder: Path) -> None:
    """A damaged file before `checker show`."""
    base = chance.choice(
        [text.encode() for _, texts in READERS.values() for text in texts] + [made.road_drawing()]
    )
    path = folder / "shown"
    path.write_bytes(_damaged(base, chance))
    status, out, err = command("show", str(path))
    assert status in {0, 2}, err
    assert "\x1b" not in out + err


def new_trial(chance: Chance, folder: Path) -> None:
    """Damaged files before `checker new`: a job that builds, or nothing."""
    target = folder / "new"
    shutil.rmtree(target, ignore_errors=True)
    drawing = made.STAKES.encode() if chance.random() < 0.5 else made.road_drawing()
    (folder / "drawing").write_bytes(drawing)
    (folder / "points").write_bytes(made.SHOTS.encode())
    hit = folder / chance.choice(("drawing", "points", "points"))
    hit.write_bytes(_damaged(hit.read_bytes(), chance))
    status, out, err = command(
        "new", str(target), "--drawing", str(folder / "drawing"), "--points", str(folder / "points")
    )
    assert status in {0, 2}, err
    assert "\x1b" not in out + err
    if status == 2:
        assert not target.exists()
    else:
        whole(render(check(target)))


def command(*arguments: str) -> tuple[int, str, str]:
    """Run a command; return its status, what it printed, and its faults."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = main(list(arguments))
    return status, out.getvalue(), err.getvalue()


Trial = Callable[[Chance, Path], None]
TRIALS: dict[str, Trial] = {
    "table": table_trial,
    "drawing": drawing_trial,
    "job": job_trial,
    "whole": whole_trial,
    "build": build_trial,
    "show": show_trial,
    "new": new_trial,
}
WEIGHTS = {"table": 40, "drawing": 10, "job": 15, "whole": 20, "build": 5, "show": 7, "new": 3}


def run_trial(kind: str, number: int, folder: Path) -> None:
    """Run one trial, named by its kind and number, in a folder of its own use."""
    TRIALS[kind](random.Random(f"{kind}:{number}"), folder)
