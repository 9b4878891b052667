"""A job in metres shows differences in millimetres, whatever the kind of check."""

import json
import re
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from checker.report.render import render
from checker.run import check
from tests.support.small_jobs import small_jobs

_IN_METRES = {
    "N",
    "E",
    "Z",
    "Offset",
    "Distance",
    "Rise",
    "Fall",
    "Design fall",
    "Length",
    "Radius",
} | {"Backsight", "Intermediate sight", "Foresight", "Elevation", "Adjusted elevation"}
_SMALL = ("ΔN", "ΔE", "ΔZ", "Plan", "Along", "Across", "σ plan", "σ height", "Off the plane")
_BLANK = "[\N{NARROW NO-BREAK SPACE} ]"
_HEAD = re.compile(r"<th[^>]*>([^<]*) <small>([^<]*)</small></th>")


@cache
def _report(name: str) -> dict[str, bytes]:
    with TemporaryDirectory() as folder:
        for path, data in small_jobs()[name].items():
            (Path(folder) / path).write_bytes(data)
        return dict(render(check(Path(folder))))


@cache
def _pages(name: str) -> str:
    return "".join(
        data.decode() for path, data in sorted(_report(name).items()) if path.endswith(".html")
    )


@pytest.mark.parametrize("name", sorted(small_jobs()))
def test_heads_of_differences_name_millimetres(name: str) -> None:
    # the edge of the road is set tens of metres off, its slope stake more than a metre from grade,
    # and stakes on a line lie along all of it
    pages = {
        path: data.decode()
        for path, data in _report(name).items()
        if path.endswith(".html") and path not in ("check-edge.html", "check-slope-stakes-1.html")
    }
    heads = [(path, *head) for path, page in pages.items() for head in _HEAD.findall(page)]
    assert heads
    for path, label, note in heads:
        if label in _SMALL and (path, label) != ("check-line.html", "Along"):
            assert note == "mm" or note.startswith("mm,"), (path, label, note)
        if label in _IN_METRES:
            assert note == "m", (path, label, note)


@pytest.mark.parametrize("name", sorted(small_jobs()))
def test_no_page_shows_a_small_difference_in_metres(name: str) -> None:
    text = re.sub(r"<[^>]+>", " ", _pages(name))
    # sums of readings stay in metres, and so does a limit beside a blunder of more than a metre
    text = re.sub(r"[1-9][0-9]*\.\d{3} m [^;<]{0,20}, (limit|over) 0\.\d+ m", "", text)
    text = re.sub(r"Page check: [^;]*; last minus first elevation is \S+ m", "", text)
    said = re.findall(rf".{{0,60}}(?<![\d.])0\.0\d+{_BLANK}m\b.{{0,20}}", text)
    assert not said
    assert not re.search(rf"(?<![\d.:+-])[-−]0(\.0+)?{_BLANK}mm", text)


@pytest.mark.parametrize("name", sorted(small_jobs()))
def test_files_stay_in_metres(name: str) -> None:
    document = json.loads(_report(name)["results.json"])
    units = {column["unit"] for each in document["checks"] for column in each["columns"]}
    assert "mm" not in units
    for each in document["checks"]:
        for column in each["columns"]:
            if column["unit"] == "m":
                assert column["decimals"] in (3, 4)


def test_every_kind_of_check_is_looked_at() -> None:
    kinds = {
        each["kind"]
        for name in small_jobs()
        for each in json.loads(_report(name)["results.json"])["checks"]
    }
    assert {"stakeout", "control", "site_fit", "traverse", "levels", "vectors", "figure"} <= kinds
    assert {"repeats", "relative", "plane", "pipe", "surface", "network", "accuracy"} <= kinds


def test_a_failure_never_prints_as_its_limit() -> None:
    pattern = re.compile(r"(\d+(?:\.\d+)?)\smm[^.<;]*?(?:over|limit) (\d+(?:\.\d+)?)\smm")
    pairs = [pair for name in small_jobs() for pair in pattern.findall(_pages(name))]
    assert pairs
    assert all(said != limit for said, limit in pairs)


def test_a_column_of_metres_stays_in_metres_with_its_limit() -> None:
    pages = _report("road")
    edge = dict(_HEAD.findall(pages["check-edge.html"].decode()))
    assert (edge["Along"], edge["Across"]) == ("m, limit ±0.080", "m, limit ±0.030")
    line = dict(_HEAD.findall(pages["check-line.html"].decode()))
    assert (line["Along"], line["Across"]) == ("m", "mm, limit ±30")
