"""What the pages about drawings, measurements and inputs show: where the numbers came from."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields

import numpy as np

from checker.lengths import is_fine, small_scale
from checker.model.arrays import TextArray
from checker.model.drawing import Drawing, Notice
from checker.model.finding import Results
from checker.model.job import Gate, Job, Rule, Tolerance
from checker.model.points import Points, Quality
from checker.report import svg
from checker.report.escape import clean
from checker.report.numbers import Outside, fixed_column
from checker.report.show import THIN, length, minus, small, true_minus
from checker.text import fixed, group, ratio
from checker.units import Formula, LengthUnit

LISTED = 500
"""How many unused or doubted shots a page lists at most."""
_LIMITS = {
    "horizontal": "Plan, radial",
    "along": "Along",
    "across": "Across",
    "left": "Left",
    "right": "Right",
    "vertical": "Height",
    "above": "Above design",
    "below": "Below design",
    "distance": "Distance between points",
    "longer": "Distance longer than design",
    "shorter": "Distance shorter than design",
    "elevation": "Difference of elevation",
    "plumb": "Out of plumb",
    "radius": "Radius of an arc",
    "slope": "Difference of slope",
    "minimum_grade": "Grade, at least",
    "maximum_grade": "Grade, at most",
    "maximum_crossfall": "Crossfall, at most",
    "minimum_drop": "Drop across a structure, at least",
    "angular": "Angular misclosure",
    "misclosure": "Misclosure",
    "section": "Two runnings of a section",
    "set_angle": "One set of an angle off its mean",
    "set_distance": "One set of a distance off its mean",
    "area": "Area off the stated one",
}
_LIMITS_OF = {
    "figure": {
        "angular": "Bearing of a common line",
        "distance": "Length of a common line, and gap",
    },
    "control": {"above": "Above known", "below": "Below known"},
    "network": {"distance": "Semi-major axis between two stations"},
}
"""The same, where a kind of check has another word for it."""
_ROOT = re.compile(r"\s*\*\s*sqrt\((\w+)\)")
_SECONDS = re.compile(r"(?<=\d)\s*arcsec\b")
_QUALITY = {
    "solution": "solution",
    "satellites": "satellites",
    "hdop": "HDOP",
    "vdop": "VDOP",
    "pdop": "PDOP",
    "age_s": "age of corrections",
    "sigma_n_m": "σ northing",
    "sigma_e_m": "σ easting",
    "sigma_h_m": "σ plan (radial)",
    "sigma_z_m": "σ height",
    "correlation_ne": "correlation of northing and easting",
    "epochs": "epochs",
    "pole_m": "pole",
    "base": "base",
    "base_distance_m": "distance to base",
    "session": "session",
    "time": "time",
    "elevation_mask_rad": "elevation mask",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A name and a text beside it."""

    name: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitsView:
    """A tolerance as printed: its limits, its rule, and where it comes from."""

    name: str
    limits: tuple[Line, ...]
    rule: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawingView:
    """What was read from one drawing."""

    path: str
    lines: tuple[Line, ...]
    counts: tuple[tuple[str, str, str, str], ...]
    notices: tuple[Line, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class QualityView:
    """One quality column: in how many shots it is shown, and its spread."""

    name: str
    shown: str
    spread: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ShotView:
    """A shot of a list: its number, where it was read, and a text."""

    id: str
    place: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FileView:
    """A file that was read."""

    path: str
    role: str
    size: str
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ShotList:
    """Shots of a list: those shown, and how many there are."""

    shown: tuple[ShotView, ...]
    count: int

    @property
    def more(self) -> int:
        """How many are not shown."""
        return self.count - len(self.shown)


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredView:
    """The as-measured points: what they are, how good, and which of them stand apart."""

    lines: tuple[Line, ...]
    quality: tuple[QualityView, ...]
    doubts: ShotList
    unused: ShotList
    excluded: tuple[ShotView, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class InputsView:
    """Files, settings, tolerances, gate, and what was said while reading."""

    files: tuple[FileView, ...]
    settings: tuple[Line, ...]
    on_ground: bool
    tolerances: tuple[LimitsView, ...]
    gate: tuple[Line, ...]
    gate_source: str
    notices: tuple[Line, ...]


def unit_words(job: Job) -> str:
    """Return the job's unit with its definition."""
    if job.unit is LengthUnit.US_SURVEY_FOOT:
        return "US survey feet (1 ft = 1200/3937 m)"
    return "feet (1 ft = 0.3048 m)" if job.unit is LengthUnit.FOOT else "metres"


def _formula(text: str) -> str:
    """Return a limit as it is written by hand: 10″ × √n for ``10 arcsec * sqrt(n)``."""
    return _SECONDS.sub("″", _ROOT.sub(r" × √\1", clean(text)))


def limits_view(tolerance: Tolerance, kind: str = "") -> LimitsView:
    """Return a tolerance as printed, in the words in which the job states it.

    kind: of the check that it is printed for, "" for none.
    """
    names = _LIMITS | _LIMITS_OF.get(kind, {})
    limits = []
    for field in fields(tolerance):
        value = getattr(tolerance, field.name)
        if isinstance(value, Formula):
            limits.append(Line(name=names.get(field.name, field.name), text=_formula(value.text)))
    if tolerance.ratio is not None:
        limits.append(Line(name="Closure ratio", text=f"{ratio(tolerance.ratio)} or better"))
    rule = "simple: the measured value is compared with the limit"
    if tolerance.rule is Rule.GUARDED:
        k = fixed(tolerance.k, 2).rstrip("0").rstrip(".")
        rule = (
            f"guarded: {k} times the standard uncertainty is added before calling it within, and "
            "taken off before calling it outside"
        )
    return LimitsView(
        name=clean(tolerance.name),
        limits=tuple(limits),
        rule=rule,
        source=clean(tolerance.source or "no source stated in the job"),
    )


def _only_kind(tolerance: Tolerance, results: Results) -> str:
    """Return the kind of the checks that a tolerance serves, "" where it serves several or none."""
    kinds = {
        each.measure.kind
        for each in results.findings
        if each.measure.tolerance is not None and each.measure.tolerance.name == tolerance.name
    }
    return kinds.pop() if len(kinds) == 1 else ""


def drawing_view(drawing: Drawing, job: Job) -> DrawingView:
    """Return what the page about drawings shows of one."""
    header = drawing.header_unit or "no unit named in its header"
    stated = job.design.unit.words if job.design else job.unit.words
    lines = (
        Line(name="Format version", text=clean(drawing.version)),
        Line(name="Unit in the header", text=clean(header)),
        Line(name="Unit used", text=f"{stated}, as the job states"),
        Line(name="Design points", text=group(len(drawing.points))),
        Line(name="Lines drawn on the plan", text=group(len(drawing.linework))),
    )
    counts = tuple(
        (clean(each.layer), clean(each.kind), group(each.count), clean(each.used_as))
        for each in drawing.counts
    )
    notices = tuple(_notice(notice) for notice in drawing.notices)
    return DrawingView(path=clean(drawing.path), lines=lines, counts=counts, notices=notices)


def _notice(notice: Notice) -> Line:
    return Line(name=clean(str(notice.where)), text=clean(notice.message))


def _grouped(notices: Sequence[Notice]) -> tuple[Line, ...]:
    """Return notices, those of one text together with all their places."""
    places: dict[str, list[str]] = {}
    for notice in notices:
        places.setdefault(notice.message, []).append(str(notice.where))
    return tuple(
        Line(name=clean(", ".join(dict.fromkeys(where))), text=clean(text))
        for text, where in places.items()
    )


def measured_view(results: Results) -> MeasuredView | None:
    """Return what the page about measurements shows; None where the job has none."""
    points, job = results.inputs.measured, results.job
    if points is None:
        return None
    outside = Outside(unit=job.unit)
    lines = [
        Line(name="As-measured points", text=group(len(points))),
        Line(
            name="With an elevation",
            text=group(int(np.count_nonzero(np.isfinite(points.elevation_m)))),
        ),
        Line(name="Compared by some check", text=group(len(points) - len(results.unused))),
        Line(name="Not compared by any check", text=group(len(results.unused))),
    ]
    lines += [
        Line(name=clean(path), text=f"{group(int(np.count_nonzero(points.file == index)))} points")
        for index, path in enumerate(points.files)
    ]
    lines += _extent(points.northing_m, points.easting_m, outside)
    return MeasuredView(
        lines=tuple(lines),
        quality=_quality(points.quality, len(points), outside),
        doubts=_shots(points, np.flatnonzero(results.doubts != ""), results.doubts),
        unused=_shots(points, results.unused, points.description),
        excluded=tuple(
            ShotView(id=clean(each.id), place=clean(str(each.where)), text=clean(each.reason))
            for each in (job.measured.exclude if job.measured else ())
        ),
    )


def _extent(n: svg.FloatArray, e: svg.FloatArray, outside: Outside) -> list[Line]:
    if not len(n):
        return []
    unit = outside.unit
    return [
        Line(
            name=name,
            text=f"{minus(fixed(float(unit.from_metres(float(values.min()))), 3))} to "
            f"{minus(fixed(float(unit.from_metres(float(values.max()))), 3))}{THIN}{unit.short}",
        )
        for name, values in (("Northing", n), ("Easting", e))
    ]


def _shots(points: Points, chosen: svg.IntArray, texts: TextArray) -> ShotList:
    """Return the first of the chosen points, each with where it was read and its text."""
    shown = []
    for row in chosen[:LISTED].tolist():
        place = points.files[int(points.file[row])]
        line = int(points.line[row])
        shown.append(
            ShotView(
                id=clean(str(points.id[row])),
                place=clean(f"{place}:{line}" if line else place),
                text=true_minus(clean(str(texts[row]))),
            )
        )
    return ShotList(shown=tuple(shown), count=len(chosen))


def _quality(quality: Quality, count: int, outside: Outside) -> tuple[QualityView, ...]:
    views = []
    for key, name in _QUALITY.items():
        values = getattr(quality, key)
        if values is None:
            views.append(QualityView(name=name, shown="not shown", spread=""))
            continue
        if values.dtype == object:
            texts = [str(value) for value in values.tolist() if value]
            kinds = sorted(set(texts))
            spread = ", ".join(f"{clean(k)} ({texts.count(k):,})" for k in kinds[:6])
            known = len(texts)
            if len(kinds) > 6:
                spread += f" and {len(kinds) - 6} more"
        elif np.issubdtype(values.dtype, np.datetime64):
            times = values[~np.isnat(values)]
            known = len(times)
            ends = (
                [str(time.astype("datetime64[s]")) for time in (times.min(), times.max())]
                if known
                else []
            )
            spread = " to ".join(f"{end}Z" for end in ends)
        else:
            numbers = values[np.isfinite(values)].astype(np.float64)
            known = len(numbers)
            spread = _spread(key, numbers, outside) if known else ""
        shown = "in all" if known == count else f"in {known:,} of {count:,}"
        views.append(QualityView(name=name, shown=shown if known else "not shown", spread=spread))
    return tuple(views)


def _spread(key: str, numbers: svg.FloatArray, outside: Outside) -> str:
    """Return least, middle and most of a quality column with its unit."""
    ends = np.array([numbers.min(), np.median(numbers), numbers.max()])
    unit, decimals = "", 1
    if key.endswith("_m"):
        least_m = float(ends[0])
        ends, unit, decimals = outside.unit.from_metres(ends), outside.unit.short, 3
        if key.startswith("sigma"):
            scale = small_scale(outside.unit, fine=is_fine(least_m))
            ends, unit, decimals = outside.in_small(ends), scale.unit, scale.decimals
    elif key.endswith("_rad"):
        ends, unit = np.degrees(ends), "°"
    elif key.endswith("_s"):
        unit = "s"
    elif key in ("satellites", "epochs"):
        decimals = 0
    least, middle, most = fixed_column(ends, decimals)
    suffix = unit if unit == "°" else f"{THIN}{unit}" if unit else ""
    if least == most:
        return f"{least}{suffix} throughout"
    return f"{least} to {most}{suffix}, median {middle}{suffix}"


def inputs_view(results: Results) -> InputsView:
    """Return what the page about inputs shows."""
    job = results.job
    return InputsView(
        files=tuple(
            FileView(
                path=clean(file.path),
                role=clean(file.role),
                size=group(file.size),
                sha256=file.sha256,
            )
            for file in results.inputs.files
        ),
        settings=_settings(job),
        on_ground=job.reference.ground is not None,
        tolerances=tuple(limits_view(each, _only_kind(each, results)) for each in job.tolerances),
        gate=_gate(job.gate, Outside(unit=job.unit)) if job.gate else (),
        gate_source=clean(job.gate.source or "") if job.gate else "",
        notices=_grouped(results.inputs.notices),
    )


def _settings(job: Job) -> tuple[Line, ...]:
    reference = job.reference
    lines: list[tuple[str, str | None]] = [
        ("Job file", job.file),
        ("Status", job.status.value),
        ("Unit", unit_words(job)),
    ]
    if reference.ground is not None:
        ground = reference.ground
        n, e = job.unit.from_metres(ground.origin_n_m), job.unit.from_metres(ground.origin_e_m)
        about = f"N {minus(fixed(n, 3))}, E {minus(fixed(e, 3))} {job.unit.short}"
        factor = f"combined factor {ground.combined_factor:.10g} about {about}"
        lines.append(("Ground to grid", f"the design is on ground; {factor}"))
    if job.design is not None:
        design = job.design
        lines += [
            ("Design files", ", ".join((*design.drawings, *design.points))),
            ("Design unit", design.unit.words),
            ("Design revision", design.revision),
            ("Design issued", design.issued),
        ]
    if job.measured is not None:
        lines += [
            ("As-measured files", ", ".join(job.measured.files)),
            ("As-measured unit", job.measured.unit.words),
            ("As-measured reference", job.measured.crs),
        ]
    if job.control is not None:
        lines += [
            ("Control file", job.control.file),
            ("Control tolerance", job.control.tolerance.name if job.control.tolerance else "none"),
        ]
    return tuple(Line(name=name, text=clean(text)) for name, text in lines if text)


def _gate(gate: Gate, outside: Outside) -> tuple[Line, ...]:
    def size(value: float | None, text: Callable[[float, Outside], str] = small) -> str | None:
        return None if value is None else f"at most {text(value, outside)}"

    def plain(value: float | None, unit: str = "") -> str | None:
        return None if value is None else f"at most {value:g}{unit}"

    poles = ", ".join(length(value, outside) for value in gate.pole_m)
    mask = gate.elevation_mask_rad
    lines = (
        ("Solution", " or ".join(gate.solution)),
        ("Satellites", None if gate.satellites is None else f"at least {gate.satellites}"),
        ("Epochs", None if gate.epochs is None else f"at least {gate.epochs}"),
        ("HDOP", plain(gate.hdop)),
        ("VDOP", plain(gate.vdop)),
        ("PDOP", plain(gate.pdop)),
        ("Age of corrections", plain(gate.age_s, f"{THIN}s")),
        ("σ plan", size(gate.sigma_h_m)),
        ("σ height", size(gate.sigma_z_m)),
        ("Distance to base", size(gate.base_distance_m, length)),
        ("Pole", poles),
        (
            "Elevation mask",
            None if mask is None else f"at least {fixed(float(np.degrees(mask)), 1)}°",
        ),
        ("Check shot of the session within", _hours(gate.check_within_s)),
    )
    return tuple(
        Line(name=name, text=clean(text + _sourced(gate.sources, name)))
        for name, text in lines
        if text
    )


_GATE_KEYS = {
    "Solution": "solution",
    "Satellites": "satellites",
    "Epochs": "epochs",
    "HDOP": "hdop",
    "VDOP": "vdop",
    "PDOP": "pdop",
    "Age of corrections": "age",
    "σ plan": "sigma_h",
    "σ height": "sigma_z",
    "Distance to base": "base_distance",
    "Pole": "pole",
    "Elevation mask": "elevation_mask",
    "Check shot of the session within": "check_within",
}


def _sourced(sources: dict[str, str], name: str) -> str:
    """Return the source of one limit of the gate, where it has one of its own."""
    text = sources.get(_GATE_KEYS[name])
    return "" if text is None else f" ({text})"


def _hours(seconds: float | None) -> str | None:
    if seconds is None:
        return None
    return f"{seconds / 3600.0:g}{THIN}h" if seconds >= 3600.0 else f"{seconds / 60.0:g}{THIN}min"
