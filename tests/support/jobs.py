"""Write whole job folders from numbers, so that tests go through the files as a user does."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from checker.cli import main
from checker.run import check, document

Row = tuple[str, float, float, float | None]
Document = dict[str, Any]

M_PER = {"metre": 1.0, "foot": 0.3048, "us-survey-foot": 1200 / 3937}


@dataclass
class JobFolder:
    """A job in metres; written in any unit, with optional turning and moving of all coordinates."""

    design: Sequence[Row]
    shots: Sequence[Row]
    control: Sequence[Row] = ()
    unit: str = "metre"
    sigma_h: float = 0.0
    sigma_z: float = 0.0
    tolerance: str = 'horizontal = "30 mm"\nvertical = "20 mm"\n'
    control_tolerance: str = 'horizontal = "30 mm"\nvertical = "30 mm"\n'
    stakeout: str = ""
    more: str = ""
    extra_files: dict[str, str] = field(default_factory=dict)
    transform: Callable[[float, float], tuple[float, float]] | None = None

    def write(self, folder: Path) -> Path:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "design.csv").write_text(self._table(self.design))
        (folder / "shots.csv").write_text(self._table(self.shots, quality=True))
        head = f'[job]\ntitle = "Invented test job"\nunit = "{self.unit}"\n'
        head += '[design]\npoints = "design.csv"\n[measured]\nfiles = ["shots.csv"]\n'
        head += f"[tolerance.t]\n{self.tolerance}"
        if self.control:
            (folder / "control.csv").write_text(self._table(self.control))
            head += f"[tolerance.c]\n{self.control_tolerance}"
            head += '[control]\nfile = "control.csv"\ntolerance = "c"\n'
        head += f'[[stakeout]]\nname = "All stakes"\ntolerance = "t"\n{self.stakeout}'
        (folder / "job.toml").write_text(head + self.more)
        for name, text in self.extra_files.items():
            (folder / name).write_text(text)
        return folder

    def _table(self, rows: Sequence[Row], *, quality: bool = False) -> str:
        scale = M_PER[self.unit]
        out = io.StringIO()
        table = csv.writer(out, lineterminator="\n")
        head = ["Point", "Northing", "Easting", "Elevation"]
        sigmas = quality and self.sigma_h > 0
        table.writerow([*head, "sigma_h", "sigma_z"] if sigmas else head)
        for name, n, e, z in rows:
            if self.transform is not None:
                n, e = self.transform(n, e)  # noqa: PLW2901
            cells = [name, repr(n / scale), repr(e / scale), "" if z is None else repr(z / scale)]
            if sigmas:
                cells += [repr(self.sigma_h / scale), repr(self.sigma_z / scale)]
            table.writerow(cells)
        return out.getvalue()


def results(folder: Path) -> Document:
    """Return what results.json of a job would hold, after a round through JSON."""
    found: Document = json.loads(json.dumps(document(check(folder)), allow_nan=False))
    return found


def rows(doc: Document, kind: str = "stakeout") -> dict[str, Document]:
    """Return the governing rows of the first check of a kind, by id."""
    checks = [item for item in doc["checks"] if item["kind"] == kind]
    return {row["id"]: row for row in checks[0]["rows"] if not row.get("superseded")}


def verdicts(doc: Document) -> dict[str, str | None]:
    """Return check name and row id -> verdict, for every row that has one."""
    found = {"": doc["verdict"]}
    for item in doc["checks"]:
        found[item["name"]] = item["verdict"]
        for index, row in enumerate(item["rows"]):
            found[f"{item['name']}/{row['id']}/{index}"] = row.get("verdict")
    return found


def run_cli(*arguments: str) -> int:
    """Run the command line in this process."""
    return main(list(arguments))
