"""Shots against a surface as an earlier revision's drawing had it."""

from dataclasses import dataclass, replace

import numpy as np

from checker.checks.closing import column
from checker.checks.frame import to_ground_m
from checker.checks.older_courses import SAME_M, raised
from checker.checks.selecting import fits
from checker.checks.shots import plan_xy_m
from checker.geometry.surface import SurfaceError, surface
from checker.lengths import small_text
from checker.model.arrays import FloatArray, TextArray
from checker.model.inputs import Inputs, Revision
from checker.model.job import Job, Surface
from checker.model.measure import Comparison, Earlier, Measure, Quantity, Supplement


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """How the shots that count lie to a revision's surface, where it differs from this one.

    to_it, to_this: shape (shots,), metres above the surface of the revision, and of now.
    """

    words: str
    to_it: FloatArray
    to_this: FloatArray

    @property
    def nearer(self) -> int:
        """How many shots lie nearer to the revision's surface than to this one."""
        return int(np.count_nonzero(np.abs(self.to_it) < np.abs(self.to_this)))


def with_older_surfaces(measure: Measure, section: Surface, inputs: Inputs, job: Job) -> Measure:
    """Return a measure of shots on a surface that knows how they lie to those of revisions.

    A revision takes part where its drawing has triangles on the section's layers; where its surface
    has the same elevation, or two or none, it says nothing of a shot.
    """
    if inputs.measured is None or not section.layers:
        return measure
    shot = measure.shots[:, 0]
    xy = to_ground_m(plan_xy_m(inputs.measured, shot), job.reference.ground)
    z = inputs.measured.elevation_m[shot]
    dz = np.asarray(measure.column("dz").values, dtype=np.float64)
    earlier, seen, remarks = list(measure.earlier), [], []
    for revision in inputs.older:
        level = _level(section, revision, xy)
        if level is None:
            continue
        if isinstance(level, str):
            remarks.append(level)
            continue
        there = np.abs((z - level) - dz) > SAME_M
        then = np.where(there, z - level, np.nan)
        earlier.append(
            Earlier(
                words=revision.of.words,
                comparisons=(Comparison(limit="vertical", label="height", value=then),),
                move_m=raised(dz - (z - level)),
            )
        )
        rows = np.flatnonzero(there & measure.counted)
        seen.append(_Seen(words=revision.of.words, to_it=then[rows], to_this=dz[rows]))
    told = [each for each in seen if len(each.to_it)]
    remarks += [_said(each, job) for each in told if 2 * each.nearer > len(each.to_it)]
    return replace(
        measure,
        earlier=tuple(earlier),
        remarks=(*remarks, *measure.remarks),
        supplements=(*measure.supplements, *_table(told)),
    )


def _level(section: Surface, revision: Revision, xy: FloatArray) -> FloatArray | str | None:
    """Return a revision's elevations, NaN where it has none or two; None: it has no such surface.

    A text: why its surface cannot be used.
    """
    triangles = revision.triangles
    if triangles is None or not len(triangles.layer):
        return None
    take = fits(section.layers, triangles.layer)
    if not take.any():
        return None
    corner = triangles.corner_m[take].copy()
    corner[:, :, 2] -= section.thickness_m
    try:
        found = surface(corner).look_up(xy)
    except SurfaceError as fault:
        return f"The surface of {revision.of.words} cannot be used: {fault}."
    return np.where(found.overlaps, np.nan, found.elevation_m)


def _said(seen: _Seen, job: Job) -> str:
    """Return that the shots follow a revision's surface."""
    many, count = len(seen.to_it), seen.nearer
    return (
        f"{count} of {many} {'shot' if many == 1 else 'shots'} "
        f"{'lies' if count == 1 else 'lie'} nearer to the surface of {seen.words} than to this "
        f"one, where the two differ: on average {_mean(seen.to_it, job)} against "
        f"{_mean(seen.to_this, job)} from this one."
    )


def _mean(dz: FloatArray, job: Job) -> str:
    """Return a mean height with its side."""
    mean = float(dz.mean())
    return f"{small_text(abs(mean), job.unit)} {'above' if mean >= 0.0 else 'below'}"


def _table(seen: list[_Seen]) -> tuple[Supplement, ...]:
    """Return how the shots lie to every revision's surface; none where none differs."""
    if not seen:
        return ()
    names: TextArray = np.array([each.words for each in seen], dtype=object)
    count = np.array([len(each.to_it) for each in seen], dtype=np.float64)
    nearer = np.array([each.nearer for each in seen], dtype=np.float64)
    length = Quantity.LENGTH

    def rms(values: FloatArray) -> float:
        return float(np.sqrt(np.mean(values**2)))

    return (
        Supplement(
            key="earlier_surfaces",
            title="Shots against the surface of earlier revisions",
            head="Revision",
            id=names,
            columns=(
                column("shots", "Shots where it differs", Quantity.COUNT, count),
                column("nearer", "Nearer to it", Quantity.COUNT, nearer),
                column("share", "Share nearer to it", Quantity.SHARE, nearer / count),
                column("mean_z", "Mean ΔZ to it", length, np.array([x.to_it.mean() for x in seen])),
                column("rms_z", "RMS ΔZ to it", length, np.array([rms(x.to_it) for x in seen])),
                column(
                    "mean_z_now",
                    "Mean ΔZ to this one",
                    length,
                    np.array([x.to_this.mean() for x in seen]),
                ),
                column(
                    "rms_z_now",
                    "RMS ΔZ to this one",
                    length,
                    np.array([rms(x.to_this) for x in seen]),
                ),
            ),
            note="Of the shots that count, those where the two surfaces have different elevations.",
        ),
    )
