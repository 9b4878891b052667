"""One common blunder behind a misclosure."""

import math
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from checker.diagnose.closures import exchanged_digits
from checker.diagnose.words import DECIDES, NEVER
from checker.run import check, document
from checker.units import LengthUnit

CONTROL = "id,northing,easting,elevation\nA,5000,3000,100\nB,5400,3700,104.25\n"
HEAD = '[job]\ntitle = "x"\nunit = "metre"\n[control]\nfile = "control.csv"\n'
LEVELS = (
    '[[levels]]\nname = "Run"\nfile = "book.csv"\nstart = "A"\nclose = "B"\n'
    'tolerance = { misclosure = "12 mm * sqrt(km)" }\n'
)
TRAVERSE = (
    '[[traverse]]\nname = "Line"\nfile = "book.csv"\nangles = "right"\nstart = "A"\n'
    'adjust = "compass"\ntolerance = {{ ratio = "1:5000", angular = "30 arcsec * sqrt(n)" }}\n{}\n'
)
Change = Callable[[float], float]


def diagnosed(folder: Path, job: str, book: str, control: str = CONTROL) -> list[dict[str, Any]]:
    for name, text in (("job.toml", HEAD + job), ("book.csv", book), ("control.csv", control)):
        (folder / name).write_text(text, encoding="utf-8")
    found: Any = document(check(folder))["diagnoses"]
    for each in found:
        assert each["says"].endswith(NEVER)
        for other in each["also"]:
            assert other["decides"] == DECIDES[other["blunder"]]
    return list(found)


def level_book(change: dict[tuple[str, str], Change] | None = None, seed: int = 5) -> str:
    rng = np.random.default_rng(seed)
    points = ["A", "T1", "T2", "T3", "T4", "T5", "T6", "B"]
    heights = [100.0, 100.912, 101.377, 102.5, 101.844, 103.291, 103.02, 104.25]
    back: dict[str, float] = {}
    fore: dict[str, float] = {}
    for i, (one, two) in enumerate(pairwise(points)):
        back[one] = round(1.2 + 0.9 * float(rng.random()), 3)
        fore[two] = round(heights[i] + back[one] - heights[i + 1] + float(rng.normal(0, 6e-4)), 3)
    for (axis, name), by in (change or {}).items():
        book = back if axis == "bs" else fore
        book[name] = by(book[name])
    rows = [f"{p},{back.get(p, '')},{fore.get(p, '')},{60 if p in fore else ''}" for p in points]
    return "point,bs,fs,distance\n" + "\n".join(rows) + "\n"


LINK = ((5000, 3000), (5130, 3160), (5160, 3410), (5340, 3505), (5400, 3700))
LOOP = ((5000, 3000), (5180, 3060), (5260, 3310), (5040, 3405), (4890, 3190), (5000, 3000))
TO_LAST = math.degrees(math.atan2(190.0, -110.0))
"""Azimuth from the start of the loop to its last station."""
LINK_AT = 'shape = "link"\nclose = "B"\nstart_azimuth = {}\nclose_azimuth = 65'
LOOP_AT = f'shape = "loop"\nstart_azimuth = {TO_LAST}'


def same(value: float) -> float:
    return value


def written(text: str) -> str:
    return text


def dms(degrees: float) -> str:
    seconds = round(degrees % 360.0 * 3600.0)
    return f"{seconds // 3600}-{seconds // 60 % 60:02d}-{seconds % 60:02d}"


def traverse_book(
    places: tuple[tuple[int, int], ...],
    *,
    back: float,
    fore: float | None = None,
    distance: dict[int, Change] | None = None,
    angle: dict[int, Callable[[str], str]] | None = None,
) -> str:
    rng = np.random.default_rng(7)
    at = np.array(places, float)
    names = ["A", *(f"P{i}" for i in range(1, len(at) - 1)), "A" if fore is None else "B"]

    def azimuth(one: int, two: int) -> float:
        north, east = at[two] - at[one]
        return math.degrees(math.atan2(east, north))

    rows = ["at,to,angle,distance"]
    for i in range(len(at) - 1):
        turned = azimuth(i, i + 1) - (azimuth(i, i - 1) if i else back) + rng.normal(0, 3 / 3600)
        length = float(np.hypot(*(at[i + 1] - at[i]))) + float(rng.normal(0, 0.002))
        length = (distance or {}).get(i, same)(length)
        text = (angle or {}).get(i, written)(dms(turned))
        rows.append(f"{names[i]},{names[i + 1]},{text},{length:.3f}")
    if fore is not None:
        last = len(at) - 1
        rows.append(f"B,F,{dms(fore - azimuth(last, last - 1))},")
    return "\n".join(rows) + "\n"


def only(found: list[dict[str, Any]], blunder: str) -> dict[str, Any]:
    assert [each["blunder"] for each in found] == [blunder]
    return found[0]


# ---------------------------------------------------------------- levels


def test_a_run_that_closes_says_nothing(tmp_path: Path) -> None:
    for seed in range(5):
        assert diagnosed(tmp_path, LEVELS, level_book(seed=seed)) == []


def test_a_misclosure_that_nothing_explains_says_nothing(tmp_path: Path) -> None:
    book = level_book({("fs", "T4"): lambda r: r + 0.3137})
    assert diagnosed(tmp_path, LEVELS, book) == []


def test_exchanged_digits_of_a_staff_reading(tmp_path: Path) -> None:
    errors = []

    def exchanged(reading: float) -> float:
        text = f"{reading:.3f}"
        errors.append(float(text[0] + "." + text[3] + text[2] + text[4]) - reading)
        return float(text[0] + "." + text[3] + text[2] + text[4])

    book = level_book({("bs", "T2"): exchanged})
    found = only(diagnosed(tmp_path, LEVELS, book), "transposed-digits")
    assert found["parameter"]["id"] == "T2"
    assert found["parameter"]["axis"] == "bs"
    assert found["parameter"]["difference"] == pytest.approx(errors[0])
    assert found["applies_to"]["check"] == "Run"
    assert found["applies_to"]["ids"] == ["T2"]
    assert found["support"]["misclosure_left"] < 0.005


def test_a_staff_reading_in_feet(tmp_path: Path) -> None:
    book = level_book({("fs", "T4"): lambda r: r / 0.3048})
    found = only(diagnosed(tmp_path, LEVELS, book), "unit-factor")
    assert found["parameter"]["factor"] == pytest.approx(1 / 0.3048)
    assert found["applies_to"]["ids"] == ["T4"]


def test_a_bench_mark_in_feet(tmp_path: Path) -> None:
    control = CONTROL.replace("104.25", f"{104.25 / 0.3048:.3f}")
    found = only(diagnosed(tmp_path, LEVELS, level_book(), control), "unit-factor")
    assert found["applies_to"]["ids"] == ["B"]


def test_two_metres_keyed_as_two_feet(tmp_path: Path) -> None:
    control = CONTROL.replace("104.25", f"{104.25 - 1.3904:.3f}")
    found = only(diagnosed(tmp_path, LEVELS, level_book(), control), "pole-height")
    # JOB's own table of signatures: "Pole 2 m keyed 2 ft: dZ +1.390 m".
    assert found["parameter"]["dz"] == pytest.approx(1.390, abs=0.0005)


# ---------------------------------------------------------------- traverses


def test_traverses_that_close_say_nothing(tmp_path: Path) -> None:
    assert diagnosed(tmp_path, TRAVERSE.format(LOOP_AT), traverse_book(LOOP, back=TO_LAST)) == []
    book = traverse_book(LINK, back=30.0, fore=65.0)
    assert diagnosed(tmp_path, TRAVERSE.format(LINK_AT.format(30)), book) == []


def test_exchanged_digits_of_a_distance(tmp_path: Path) -> None:
    def exchanged(length: float) -> float:
        text = f"{length:.3f}"
        return float(text[0] + text[2] + text[1] + text[3:])

    book = traverse_book(LOOP, back=TO_LAST, distance={2: exchanged})
    found = only(diagnosed(tmp_path, TRAVERSE.format(LOOP_AT), book), "transposed-digits")
    assert found["parameter"]["id"] == "P2-P3"
    assert found["parameter"]["difference"] == pytest.approx(54.0)


def test_one_distance_in_feet(tmp_path: Path) -> None:
    book = traverse_book(LOOP, back=TO_LAST, distance={2: lambda d: d / 0.3048})
    found = only(diagnosed(tmp_path, TRAVERSE.format(LOOP_AT), book), "unit-factor")
    assert found["applies_to"]["ids"] == ["P2-P3"]


def test_all_distances_in_feet(tmp_path: Path) -> None:
    every: dict[int, Change] = dict.fromkeys(range(4), lambda d: d / 0.3048)
    book = traverse_book(LINK, back=30.0, fore=65.0, distance=every)
    found = only(diagnosed(tmp_path, TRAVERSE.format(LINK_AT.format(30)), book), "unit-factor")
    assert found["parameter"]["factor"] == pytest.approx(1 / 0.3048)
    assert found["applies_to"]["ids"] == []


def test_a_wrong_start_azimuth(tmp_path: Path) -> None:
    for at in (LINK_AT.format(31.5), 'shape = "link"\nclose = "B"\nstart_azimuth = 31.5'):
        book = traverse_book(LINK, back=30.0, fore=65.0)
        found = only(diagnosed(tmp_path, TRAVERSE.format(at), book), "rotation")
        assert found["parameter"]["angle_deg"] == pytest.approx(1.5, abs=0.01)
        assert found["parameter"]["about"] == {"n": 5000.0, "e": 3000.0}


def test_exchanged_digits_of_an_angle(tmp_path: Path) -> None:
    def exchanged(text: str) -> str:
        degrees, minutes, seconds = text.split("-")
        return f"{degrees}-{minutes[::-1]}-{seconds}"

    book = traverse_book(LINK, back=30.0, fore=65.0, angle={1: exchanged})
    found = only(
        diagnosed(tmp_path, TRAVERSE.format(LINK_AT.format(30)), book), "transposed-digits"
    )
    assert found["parameter"]["axis"] == "angle"
    assert abs(found["parameter"]["difference_deg"]) == pytest.approx(0.6)
    assert "P1" in found["says"]


def test_exchanged_columns_of_the_closing_mark(tmp_path: Path) -> None:
    control = CONTROL.replace("5400,3700", "3700,5400")
    book = traverse_book(LINK, back=30.0, fore=65.0)
    found = diagnosed(tmp_path, TRAVERSE.format(LINK_AT.format(30)), book, control)
    assert only(found, "axes-swapped")["parameter"]["ids"] == ["B"]


def test_exchanged_digits_of_the_closing_mark(tmp_path: Path) -> None:
    control = CONTROL.replace("5400,3700", "4500,3700")
    book = traverse_book(LINK, back=30.0, fore=65.0)
    found = diagnosed(tmp_path, TRAVERSE.format(LINK_AT.format(30)), book, control)
    said = only(found, "transposed-digits")["parameter"]
    assert (said["id"], said["axis"]) == ("B", "n")
    assert said["difference"] == pytest.approx(-900.0)


def test_a_loop_is_blind_to_its_start_azimuth(tmp_path: Path) -> None:
    book = traverse_book(LOOP, back=TO_LAST)
    job = TRAVERSE.format(f'shape = "loop"\nstart_azimuth = {TO_LAST + 2.0}')
    assert diagnosed(tmp_path, job, book) == []
    power: Any = document(check(tmp_path))["power"]
    told = {each["blunder"]: each for each in power}
    assert not told["rotation"]["could_show"]
    assert "whatever the start azimuth was" in told["rotation"]["says"]


@pytest.mark.parametrize(("value", "change"), [(134.2, 180.0), (1.254, 0.27), (98.0, -9.0)])
def test_neighbouring_digits_change_a_reading_by_nines(value: float, change: float) -> None:
    every = list(exchanged_digits(value, LengthUnit.METRE))
    assert any(each == pytest.approx(change) for each in every), every
    nines = np.array(every) / 0.0009
    assert np.allclose(nines, np.round(nines))
