"""A whole job with every section of evidence gives the same verdicts however it is written down.

Metres, feet, US survey feet, with a point or a comma, the design on grid or on ground, the rows in
any order: what is within stays within, and every doubt stays.
"""

import json
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from checker.run import check, document
from tests.support.jobs import M_PER

pytestmark = pytest.mark.property

N0, E0, Z0 = 156000.0, 188000.0, 310.0
FACTOR = 0.99987
MARKS = [(0.0, 0.0), (0.0, 310.0), (190.0, 290.0), (210.0, -20.0), (90.0, 140.0)]
QUALITY = ("satellites", "pdop", "age", "sigma_n", "sigma_e", "sigma_z", "cov_ne", "pole")


@dataclass(frozen=True)
class Shot:
    """A shot in metres; silent: without any quality."""

    id: str
    n: float
    e: float
    z: float
    session: str
    minute: int
    description: str = ""
    solution: str = "fixed"
    pole: float = 2.0
    sigma: tuple[float, float, float, float] = (0.0061, 0.0049, 0.0093, 0.4)


@dataclass(frozen=True)
class Evidence:
    """A job in metres, and how it is written down."""

    design: tuple[tuple[str, float, float, float], ...]
    shots: tuple[Shot, ...]
    unit: str = "metre"
    comma: bool = False
    ground: bool = False
    silent: bool = False
    reverse: bool = False
    apply: bool = False
    checks: tuple[tuple[str, float, float, float], ...] = field(default=())

    def write(self, folder: Path) -> Path:
        folder.mkdir(parents=True)
        known = tuple((f"CP{k}", N0 + n, E0 + e, Z0) for k, (n, e) in enumerate(MARKS))
        design = self.design
        if self.ground:  # ground = origin + (grid - origin) / factor
            design = tuple(
                (name, N0 + (n - N0) / FACTOR, E0 + (e - E0) / FACTOR, z)
                for name, n, e, z in design
            )
        self._points(folder / "design.csv", design)
        self._points(folder / "control.csv", known)
        self._points(folder / "check.csv", self.checks)
        self._shots(folder / "shots.csv")
        (folder / "job.toml").write_text(self._job(), encoding="utf-8")
        return folder

    def _number(self, metres: float, power: int = 1) -> str:
        text = repr(metres / M_PER[self.unit] ** power)
        return text.replace(".", ",") if self.comma else text

    def _table(self, path: Path, rows: list[list[str]]) -> None:
        separator = ";" if self.comma else ","
        head, body = rows[0], rows[1:]
        if self.reverse:
            body = body[::-1]
        path.write_text("\n".join(separator.join(row) for row in [head, *body]) + "\n")

    def _points(self, path: Path, rows: tuple[tuple[str, float, float, float], ...]) -> None:
        table = [["Point", "Northing", "Easting", "Elevation"]]
        table += [[name, *(self._number(value) for value in place)] for name, *place in rows]
        self._table(path, table)

    def _shots(self, path: Path) -> None:
        head = ["Point", "Northing", "Easting", "Elevation", "Description"]
        more = [] if self.silent else ["solution", *QUALITY, "base", "session", "time"]
        table = [[*head, *more]]
        for shot in self.shots:
            place = [self._number(value) for value in (shot.n, shot.e, shot.z)]
            row = [shot.id, *place, shot.description]
            if not self.silent:
                n, e, z, r = shot.sigma
                plain = ["9", "1,6" if self.comma else "1.6", "2"]
                sigmas = [self._number(value) for value in (n, e, z)]
                row += [shot.solution, *plain, *sigmas, self._number(r * n * e, 2)]
                row += [self._number(shot.pole), "BASE1", shot.session]
                row.append(f"2031-04-{15 + shot.minute // 1440}T{_clock(shot.minute)}Z")
            table.append(row)
        self._table(path, table)

    def _job(self) -> str:
        ground = ""
        if self.ground:
            n, e = repr(N0 / M_PER[self.unit]), repr(E0 / M_PER[self.unit])
            ground = f"combined_factor = {FACTOR}, origin = {{ n = {n}, e = {e} }}"
            ground = f"[reference]\nground = {{ {ground} }}\n"
        return f"""
[job]
title = "Invented job"
unit = "{self.unit}"
{ground}
[design]
points = "design.csv"
[measured]
files = ["shots.csv"]
sigma_factor = 1.2
sigma_floor_h = "4 mm"
sigma_floor_z = "5 mm"
bubble = "5 arcmin"
[control]
file = "control.csv"
tolerance = {{ horizontal = "40 mm", vertical = "60 mm" }}
sigma_h = "3 mm"
sigma_z = "4 mm"
[site_fit]
apply = {"true" if self.apply else "false"}
height = "plane"
tolerance = {{ horizontal = "40 mm", vertical = "60 mm" }}
[gate]
solution = ["fixed"]
satellites = 6
pdop = 4.0
sigma_h = "30 mm"
sigma_z = "40 mm"
age = "5 s"
pole = ["2 m", "1.8 m"]
check_within = "6 h"
[tolerance.tight]
horizontal = "30 mm"
vertical = "45 mm"
rule = "guarded"
[tolerance.plain]
horizontal = "30 mm"
above = "30 mm"
below = "45 mm"
[[stakeout]]
name = "guarded stakes"
design = {{ id = "S*" }}
measured = {{ description = "STAKE" }}
tolerance = "tight"
[[stakeout]]
name = "plain stakes"
design = {{ id = "S*" }}
measured = {{ description = "STAKE" }}
match = "nearest"
tolerance = "plain"
[[repeats]]
name = "again"
measured = {{ description = "STAKE" }}
apart = "1 h"
tolerance = {{ horizontal = "40 mm", vertical = "60 mm" }}
[[accuracy]]
name = "statement"
measured = {{ description = "TOPO" }}
file = "check.csv"
tolerance = {{ horizontal = "60 mm", vertical = "60 mm" }}
[[rover_test]]
name = "rover"
points = ["R1", "R2"]
measured = {{ description = "TEST" }}
distance = "15 m"
sigma_plan = "12 mm"
sigma_height = "15 mm"
"""


def _clock(minute: int) -> str:
    return f"{minute // 60 % 24:02d}:{minute % 60:02d}:00"


def invented(seed: int) -> Evidence:
    """Return a job with good and bad stakes, two sessions, and faults of every kind here and there.

    Offsets are whole millimetres and 0.4, off every limit, so that no last digit tips a verdict.
    """
    rng = np.random.default_rng(seed)

    def odd(spread_mm: float, size: int = 3) -> list[float]:
        return [(float(round(x)) + 0.4) * 0.001 for x in rng.normal(0.0, spread_mm, size)]

    design = tuple(
        (f"S{k}", N0 + 20.0 + 17.0 * k, E0 + 40.0 + 23.0 * (k % 5), Z0 - 0.5) for k in range(8)
    )
    shots = []
    for session, start in (("am", 480), ("pm", 1000 + 1440)):
        for when in (start, start + 200):
            for k, (n, e) in enumerate(MARKS):
                dn, de, dz = odd(9.0)
                shots.append(
                    Shot(f"CP{k}", N0 + n + dn, E0 + e + de, Z0 + dz, session, when + k, "CHK")
                )
    for k, (name, n, e, z) in enumerate(design[:7]):
        for session, start in (("am", 500), ("pm", 1050 + 1440)):
            if session == "pm" and k > 3:
                continue
            dn, de, dz = odd(22.0)
            shots.append(
                Shot(
                    name,
                    n + dn,
                    e + de,
                    z + dz,
                    session,
                    start + 3 * k,
                    "STAKE",
                    "float" if rng.random() < 0.1 else "fixed",
                    1.5 if rng.random() < 0.1 else 2.0,
                )
            )
    checks = tuple((f"T{k}", N0 + 9.0 * k, E0 + 150.0 + 3.0 * k, Z0) for k in range(21))
    for k, (name, n, e, z) in enumerate(checks):
        dn, de, dz = odd(14.0)
        shots.append(Shot(name, n + dn, e + de, z + dz, "am", 540 + k, "TOPO"))
    for series, start in (("am", 560), ("pm", 1100 + 1440)):
        for turn in range(5):
            for name, away in (("R1", 0.0), ("R2", 15.0)):
                dn, de, dz = odd(7.0)
                shots.append(
                    Shot(
                        name, N0 + dn, E0 + 400.0 + away + de, Z0 + dz, series, start + turn, "TEST"
                    )
                )
    return Evidence(design=design, shots=tuple(shots), checks=checks)


def outcome(job: Evidence, folder: Path) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return the verdicts, and with them the reasons cut down to their words."""
    doc = json.loads(json.dumps(document(check(job.write(folder))), allow_nan=False))
    verdicts: dict[str, Any] = {"": doc["verdict"], "counts": doc["counts"]}
    for each in doc["checks"]:
        verdicts[each["name"]] = each["verdict"]
        rows = sorted(
            (row["id"], row.get("verdict"), row.get("superseded")) for row in each["rows"]
        )
        verdicts[f"{each['name']} rows"] = [row for row in rows if row[1] is not None]
    return verdicts, doc


quick = settings(
    max_examples=6, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@quick
@given(
    seed=st.integers(0, 10_000),
    unit=st.sampled_from(["foot", "us-survey-foot"]),
    comma=st.booleans(),
    apply=st.booleans(),
)
def test_units_and_signs_change_no_verdict(
    seed: int, unit: str, comma: bool, apply: bool, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("unit")
    job = replace(invented(seed), apply=apply)
    metric, plain = outcome(job, folder / "m")
    other, written = outcome(replace(job, unit=unit, comma=comma), folder / "u")
    assert other == metric
    metres = M_PER[unit]
    for ours, theirs in zip(plain["checks"], written["checks"], strict=True):
        for key, value in ours["summary"].items():
            found = theirs["summary"][key]
            if key.startswith(("risk", "expected", "scale", "rotation", "degrees")):
                assert found == pytest.approx(value, rel=1e-6, abs=1e-9), key
            elif key.startswith(("sd_n", "sd_z", "rmse", "provable", "accuracy", "s_plan")):
                assert found * metres == pytest.approx(value, rel=1e-7, abs=1e-10), key


@quick
@given(seed=st.integers(0, 10_000), apply=st.booleans())
def test_a_design_on_ground_changes_no_verdict(
    seed: int, apply: bool, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("ground")
    job = replace(invented(seed), apply=apply)
    on_grid, _ = outcome(job, folder / "grid")
    on_ground, _ = outcome(replace(job, ground=True, unit="us-survey-foot"), folder / "ground")
    assert on_ground == on_grid


@quick
@given(seed=st.integers(0, 10_000), apply=st.booleans())
def test_the_order_of_rows_changes_no_verdict(
    seed: int, apply: bool, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("order")
    job = replace(invented(seed), apply=apply)
    before, _ = outcome(job, folder / "a")
    after, _ = outcome(replace(job, reverse=True), folder / "b")
    assert after == before


@pytest.mark.parametrize("apply", [False, True])
def test_a_job_without_quality_columns_works_and_says_what_was_not_shown(
    apply: bool, tmp_path: Path
) -> None:
    job = replace(invented(4), silent=True, apply=apply)
    _, doc = outcome(job, tmp_path / "silent")
    for name in ("guarded stakes", "plain stakes"):
        each = next(item for item in doc["checks"] if item["name"] == name)
        staked = [row for row in each["rows"] if row["verdict"] != "unchecked"]
        # the gate asks for what no file shows: nothing passes it
        assert {row["verdict"] for row in staked} == {"undecided"}
        assert all("not shown" in row["reason"] for row in staked)
        assert all(row["p_within"] is None for row in staked)
        assert any(text.startswith("Not shown: any standard deviation") for text in each["remarks"])


def test_without_gate_and_quality_the_plain_rule_still_judges(tmp_path: Path) -> None:
    job = replace(invented(4), silent=True)
    folder = job.write(tmp_path / "bare")
    text = (folder / "job.toml").read_text()
    start, end = text.index("[gate]"), text.index("[tolerance.tight]")
    (folder / "job.toml").write_text(text[:start] + text[end:])
    doc = document(check(folder))
    checks: Any = doc["checks"]
    plain = next(item for item in checks if item["name"] == "plain stakes")
    found = {row["verdict"] for row in plain["rows"]}
    assert found & {"within", "outside"}
    assert any(
        "in plan and in height" in text and "takes the bare numbers as they are" in text
        for text in plain["remarks"]
    )
    guarded = next(item for item in checks if item["name"] == "guarded stakes")
    staked = [row for row in guarded["rows"] if row["verdict"] != "unchecked"]
    assert {row["verdict"] for row in staked} == {"undecided"}
    assert all("no standard deviation is shown" in row["reason"] for row in staked)
