"""What a network is put together from, and the points that hold it."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from checker.adjust.observations import PLAN, Kind
from checker.checks.closing import known_points, refuse, stripped
from checker.checks.geocentric import Grid, carried
from checker.checks.level_net import contribute_levels
from checker.checks.net import Known, Net, Sighting, Solved, solve, stations_of
from checker.checks.network_books import (
    contribute_sights,
    contribute_vectors,
    gridded,
    is_assumed,
    raise_ends,
    vector_marks,
)
from checker.checks.traverse_net import contribute_traverse, held_by, hold_control
from checker.errors import Where
from checker.model.arrays import FloatArray
from checker.model.inputs import Inputs
from checker.model.job import Job, Levels, Network, Traverse, Vectors, Weight

_RAISED_M = 1e-4
"""Geocentric vectors are brought to the grid again while their ends still move by more."""


@dataclass(slots=True, kw_only=True)
class Assembled:
    """A network's net. free: nothing holds it. says: for the report."""

    net: Net
    free: bool
    says: list[str] = field(default_factory=list)
    weighted: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    grid: Grid | None = None
    geoid_m: float = 0.0

    def solved(self, where: Where) -> Solved:
        """Adjust it; vectors in earth-centred axes are brought to the grid where they end up."""
        found = solve(self.net, where, free=self.free)
        if self.grid is None:
            return found
        for _ in range(4):
            place = dict(zip(found.names, found.adjustment.position_m.copy(), strict=True))
            moved = self._to_grid(place)
            if moved < _RAISED_M:
                break
            found = solve(self.net, where, free=self.free)
        return found

    def _to_grid(self, place: Mapping[str, FloatArray]) -> float:
        """Bring vectors to the grid again; return by how much the largest changed, metres."""
        assert self.grid is not None  # noqa: S101  (asked before)
        rows = [row for row, each in enumerate(self.net.sightings) if each.earth_m is not None]
        old = [self.net.sightings[row] for row in rows]
        raise_ends(place, old, self.net.known)
        new = gridded(self.grid, old, place, self.geoid_m)
        moved = 0.0
        for row, before, after in zip(rows, old, new, strict=True):
            assert before.vector_m is not None and after.vector_m is not None  # noqa: S101, PT018
            moved = max(moved, math.dist(before.vector_m, after.vector_m))
            self.net.sightings[row] = after
        return moved


def assembled(section: Network, inputs: Inputs, job: Job) -> Assembled:
    """Return the net of the sections and the book that the job names; raises InputError."""
    net = Net()
    made = Assembled(net=net, free=False)
    used = {each.name: each for each in job.checks}
    held: list[str] = []
    marks: list[str] = []
    vectors: list[Vectors] = []
    for name in section.use:
        each = used.get(name)
        if isinstance(each, Traverse):
            contribute_traverse(each, inputs, net, section.sigmas)
            held += held_by(each)
            marks += [mark.strip() for mark in (each.backsight, each.foresight) if mark]
        elif isinstance(each, Levels):
            contribute_levels(each, inputs, net, section.sigmas)
            held += [end.strip() for end in (each.start, each.close) if isinstance(end, str)]
        elif isinstance(each, Vectors):
            vectors.append(each)
        else:
            refuse(
                "unknown-section-name",
                section.where,
                f'use names "{name}", and no [[traverse]], [[levels]] or [[vectors]] has that name',
                "write the names of the sections as they stand under name",
            )
    for row, sighting in enumerate(net.sightings):
        if not sighting.stated and is_assumed(sighting.kind, section.sigmas):
            net.sightings[row] = replace(sighting, assumed=True)
    named = contribute_sights(section, inputs, net)
    for each in vectors:
        axes = contribute_vectors(each, inputs, job, net, section)
        made.says += axes.says
        if axes.grid is not None:
            made.grid, made.geoid_m = axes.grid, axes.geoid_m
        named += vector_marks(each, inputs)
    _approximate(section, inputs, net)
    control = list(known_points(inputs))
    held += [name for name in dict.fromkeys(named) if name in control]
    _hold(section, inputs, made, held, marks)
    for name in control:
        # Where a control point is not held it still says roughly where the station is.
        spare = Net()
        hold_control(spare, inputs, [name])
        for known, place in spare.known.items():
            net.near(known, *place)
    _weigh(section, inputs, job, made)
    _first_on_grid(made, section)
    if made.free:
        _loosed(made)
    return made


# ---------------------------------------------------------------- what holds it


def _hold(
    section: Network, inputs: Inputs, made: Assembled, held: list[str], marks: list[str]
) -> None:
    """Hold the points that the job names, or those that its sections rest on."""
    net, control = made.net, known_points(inputs)
    if section.fixed is None:
        stations = {name for each in net.sightings for name in stations_of(each)}
        held = held or [name for name in control if name in stations]
        hold_control(net, inputs, [name for name in held if name not in section.weighted])
        for name in section.weighted:
            _release(net, name)
        return
    stated = dict(net.known)
    for name in stated:
        _release(net, name)
    unknown = [name for name in section.fixed if name not in control and name not in stated]
    if unknown:
        refuse(
            "unknown-control",
            section.where,
            f'fixed names "{unknown[0]}", which is not a point of the control file',
            "add the point to the control, or take it out of fixed",
        )
    for name in section.fixed:
        if name in stated and name not in control:
            net.hold(name, stated[name])
    hold_control(net, inputs, section.fixed)
    loose = [name for name in stated if name not in section.fixed]
    if loose and section.fixed:
        made.says.append(
            "Stated by a section and not named under fixed, so that they were not held: "
            f"{', '.join(loose[:12])}."
        )
    made.free = not section.fixed and not section.weighted
    if not made.free:
        # A mark that is only sighted gives a direction, and is held for that.
        only = [name for name in _only_sighted(net, marks) if name not in section.weighted]
        hold_control(net, inputs, only)


def _release(net: Net, name: str) -> None:
    """Let go of a known point, whose place stays the rough one."""
    place = net.known.pop(name, None)
    if place is not None:
        net.near(name, *place)


def _only_sighted(net: Net, marks: Sequence[str]) -> list[str]:
    """Return the marks to which the net has angles and nothing else."""
    reached = {
        name for each in net.sightings if each.kind is not Kind.ANGLE for name in (each.i, each.j)
    } | {each.i for each in net.sightings}
    return [mark for mark in marks if mark not in reached]


def _loosed(made: Assembled) -> None:
    """Turn angles to marks that one station alone sights into directions of one zero.

    The mark's distance is not determined by them, and is not wanted.
    """
    net = made.net
    own: dict[str, set[str]] = {}
    seen: dict[str, set[str]] = {}
    for each in net.sightings:
        if each.kind is Kind.ANGLE:
            own.setdefault(each.i, set())
            for name in (each.j, each.k):
                seen.setdefault(name, set()).add(each.i)
        else:
            for name in stations_of(each):
                own.setdefault(name, set())
    alone = {name for name, ats in seen.items() if name not in own and len(ats) == 1}
    for row, each in enumerate(net.sightings):
        if each.kind is not Kind.ANGLE or not {each.j, each.k} & alone:
            continue
        mark = each.j if each.j in alone else each.k
        target = each.k if mark == each.j else each.j
        if target in alone:
            continue
        value = each.value if mark == each.j else -each.value
        net.sightings[row] = replace(
            each, kind=Kind.DIRECTION, j=target, k=f"{each.i} from {mark}", value=value
        )
    if alone:
        made.says.append(
            f"Sighted and not held, so that only the direction counts: {', '.join(sorted(alone))}."
        )


def _weigh(section: Network, inputs: Inputs, job: Job, made: Assembled) -> None:
    """Add the known coordinates of weighted points as observations."""
    control, index = inputs.control, known_points(inputs)
    plan = {
        name
        for each in made.net.sightings
        if each.kind in (*PLAN, Kind.NORTH)
        for name in stations_of(each)
    }
    height = {
        name
        for each in made.net.sightings
        if each.kind is Kind.RISE or (each.vector_m is not None and len(each.vector_m) > 2)
        for name in (each.i, each.j)
    }
    for name, weight in section.weighted.items():
        if control is None or name not in index:
            refuse(
                "unknown-control",
                section.where,
                f'weighted names "{name}", which is not a point of the control file',
                "add the point to the control, or take it out of weighted",
            )
        if name not in plan | height:
            refuse(
                "unknown-control",
                section.where,
                f'weighted names "{name}", and no observation of the network reaches it',
                "take it out of weighted, or add the observations",
            )
        at = index[name]
        where = Where(file=control.files[int(control.file[at])], line=int(control.line[at]))
        places = (control.northing_m[at], control.easting_m[at], control.elevation_m[at])
        sizes = _sizes(weight, inputs, job, at)
        kinds = (Kind.N, Kind.E, Kind.Z)
        reached = (name in plan, name in plan, name in height)
        words = ("northing", "easting", "elevation")
        for kind, place, size, there, word in zip(
            kinds, places, sizes, reached, words, strict=True
        ):
            if not there or np.isnan(place):
                continue
            if not size > 0.0:
                refuse(
                    "missing-value",
                    section.where,
                    f'"{name}" is weighted, and nothing says how well its {word} is known',
                    f'write weighted = {{ {name} = "5 mm" }}, or give the control file sigmas',
                )
            made.net.sightings.append(
                Sighting(
                    kind=kind,
                    i=name,
                    value=float(place),
                    sigma=size,
                    where=where,
                    label=f"{word} of {name}",
                )
            )
        made.weighted[name] = sizes


def _sizes(weight: Weight, inputs: Inputs, job: Job, at: int) -> tuple[float, float, float]:
    """Return the standard deviations of a control point: of the job, of its row, of [control]."""
    assert inputs.control is not None  # noqa: S101  (asked before)
    quality, given = inputs.control.quality, job.control

    def first(*values: float | None) -> float:
        return next((v for v in values if v is not None and v > 0.0), float("nan"))

    def stored(values: FloatArray | None) -> float | None:
        return None if values is None else float(values[at])

    radial = stored(quality.sigma_h_m)
    axis = None if radial is None else radial / math.sqrt(2.0)
    whole = None if given is None else given.sigma_h_m / math.sqrt(2.0)
    return (
        first(weight.n_m, stored(quality.sigma_n_m), axis, whole),
        first(weight.e_m, stored(quality.sigma_e_m), axis, whole),
        first(weight.z_m, stored(quality.sigma_z_m), None if given is None else given.sigma_z_m),
    )


def _approximate(section: Network, inputs: Inputs, net: Net) -> None:
    """Take rough positions from the table that the job names; they come before any computed."""
    points = inputs.approximate.get(section.name)
    if points is None:
        return
    for row, name in enumerate(stripped(points.id)):
        place: Known = (
            float(points.northing_m[row]),
            float(points.easting_m[row]),
            float(points.elevation_m[row]),
        )
        old = net.approximate.pop(name, None)
        net.near(name, *place)
        if old is not None:
            net.near(name, *old)


def _first_on_grid(made: Assembled, section: Network) -> None:
    """Bring earth-centred vectors to the grid where their first ends roughly are."""
    if made.grid is None:
        return
    rows = [row for row, each in enumerate(made.net.sightings) if each.earth_m is not None]
    vectors = [made.net.sightings[row] for row in rows]
    known: dict[str, FloatArray] = {}
    for name in dict.fromkeys(name for each in vectors for name in (each.i, each.j)):
        rough = made.net.known.get(name) or made.net.approximate.get(name)
        if rough is not None and np.isfinite(rough[:2]).all():
            known[name] = np.nan_to_num(np.array(rough))
    steps = np.array([(*(each.vector_m or ())[:2], each.up_m) for each in vectors])
    place = carried([(each.i, each.j) for each in vectors], steps, known)
    lost = next((each.i for each in vectors if each.i not in place), None)
    if lost is not None:
        refuse(
            "not-determined",
            section.where,
            f'nothing leads to "{lost}" from a known point, so its vectors cannot be brought to '
            "the grid",
            "add a known point to the control, or the rough position under approximate",
        )
    for row, each in zip(rows, gridded(made.grid, vectors, place, made.geoid_m), strict=True):
        made.net.sightings[row] = each
