"""Earlier revisions of the design: what moved since, and which stakes stand where one put them.

Points are told by their numbers. Every difference is the design now minus the earlier one, in the
axes of the as-measured points; none changes a verdict.
"""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

import numpy as np

from checker.checks.closing import column, length_text
from checker.checks.deltas import Sigmas, deltas, picked, point_comparisons, sigmas_of
from checker.checks.older_courses import SAME_M, inputs_of, job_of, restates, useless
from checker.checks.selecting import need_points, select_points, stripped_ids
from checker.checks.shots import sigma_level_of
from checker.checks.staking import Staked, line_comparisons, lined, staked_design
from checker.errors import InputError, Where
from checker.model.arrays import FloatArray, IntArray, TextArray
from checker.model.drawing import Notice
from checker.model.inputs import Inputs, Revision
from checker.model.job import Job, Selection, Stakeout
from checker.model.measure import Comparison, Earlier, Quantity, Supplement
from checker.model.points import Points
from checker.units import LengthUnit

_NAMED = 8
_ENOUGH = 3
_MOST = 0.5
_FEET_APART = 1e-4
_SHIFTED = 0.01
_ROUNDED_M, _ROUNDED = 0.002, 1e-7
_EXTENT_M = 1.0
"""Revisions in different units agree but for rounding, in most of the points, over this extent."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Moves:
    """What became of numbered points since a revision; indices of its points and of the design's.

    old, new: shape (points,), -1 where one of them has no such point; the design's order, then what
    is gone. ambiguous: numbers that the revision gives to several places, left out.
    """

    old: IntArray
    new: IntArray
    ambiguous: int


def places_by_id(points: Points) -> tuple[dict[str, int], int]:
    """Return the index of every number that stands for one place, and how many stand for more."""
    found: dict[str, int] = {}
    several: set[str] = set()
    for index, name in enumerate(stripped_ids(points).tolist()):
        if not name:
            continue
        first = found.setdefault(name, index)
        if first != index and not _together(points, first, index):
            several.add(name)
    return {name: index for name, index in found.items() if name not in several}, len(several)


def _together(points: Points, one: int, other: int) -> bool:
    """Tell whether two points of a revision are in one place; a missing height does not count."""
    away = np.hypot(
        points.northing_m[one] - points.northing_m[other],
        points.easting_m[one] - points.easting_m[other],
    )
    rise = abs(points.elevation_m[one] - points.elevation_m[other])
    return bool(away <= SAME_M and not rise > SAME_M)


def moves(design: Points, target: IntArray, earlier: Points, selection: Selection | None) -> Moves:
    """Return how design points correspond to those of an earlier revision.

    target: indices of the design points. selection: which of the earlier points count as gone
    where the design has no such number any more; None: none of them.
    """
    before, ambiguous = places_by_id(earlier)
    names = stripped_ids(design)
    mine = names[target].tolist()
    old = [before.get(name, -1) if name else -1 for name in mine]
    known = set(names.tolist())
    gone = []
    chosen = np.empty(0, dtype=np.int64)
    if selection is not None:
        with suppress(InputError):  # the revision has nothing that fits
            chosen = select_points(earlier, selection, "design", Where(file=""))
    of_old = stripped_ids(earlier)
    for index in chosen.tolist():
        name = str(of_old[index])
        if name and name not in known and before.get(name) == index:
            gone.append(index)
    return Moves(
        old=np.array([*old, *gone], dtype=np.int64),
        new=np.concatenate((target, np.full(len(gone), -1, dtype=np.int64))),
        ambiguous=ambiguous,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Changes:
    """What changed, a row a point; arrays of shape (rows,), metres, NaN where one has no such."""

    id: TextArray
    what: TextArray
    dn: FloatArray
    de: FloatArray
    dz: FloatArray


def _changes(design: Points, before: Points, found: Moves) -> _Changes:
    """Return the points that moved, are new or are gone since an earlier revision's."""

    def apart(name: str) -> FloatArray:
        return picked(getattr(design, name), found.new) - picked(getattr(before, name), found.old)

    dn, de, dz = apart("northing_m"), apart("easting_m"), apart("elevation_m")
    given = np.isnan(picked(design.elevation_m, found.new)) != np.isnan(
        picked(before.elevation_m, found.old)
    )
    both = (found.old >= 0) & (found.new >= 0)
    what: TextArray = np.full(len(dn), "", dtype=object)
    what[both & given] = "elevation added"
    what[both & given & np.isnan(picked(design.elevation_m, found.new))] = "elevation taken out"
    what[both & (np.abs(dz) > SAME_M)] = "moved in height"
    what[both & (np.hypot(dn, de) > SAME_M)] = "moved"
    what[(found.old < 0) & (found.new >= 0)] = "new"
    what[(found.old >= 0) & (found.new < 0)] = "gone"
    names: TextArray = np.full(len(dn), "", dtype=object)
    now, then = stripped_ids(design), stripped_ids(before)
    for row, (new, old) in enumerate(zip(found.new.tolist(), found.old.tolist(), strict=True)):
        names[row] = now[new] if new >= 0 else then[old]
    rows = (what != "") & (names != "")
    return _Changes(id=names[rows], what=what[rows], dn=dn[rows], de=de[rows], dz=dz[rows])


# ---------------------------------------------------------------- a stakeout


@dataclass(frozen=True, slots=True, kw_only=True)
class Past:
    """What a stakeout says of earlier revisions.

    earlier: for the verdicts. said: shape (rows,), of shots whose design point is gone. tables:
    what changed.
    """

    earlier: tuple[Earlier, ...]
    said: TextArray
    tables: tuple[Supplement, ...]
    remarks: tuple[str, ...]


def past_of(
    section: Stakeout,
    inputs: Inputs,
    job: Job,
    staked: Staked,
    target: IntArray,
    known: IntArray,
    shot: IntArray,
) -> Past:
    """Return how a stakeout's rows lie to earlier revisions of the design.

    target: indices of the selected design points. known, shot: shape (rows,), indices of design
    points and of shots, -1 for none. Stakes of a table are compared with the same stakes beside the
    revision's alignment, with its own table, or else with its points of the same numbers.
    """
    said: TextArray = np.full(len(known), "", dtype=object)
    if not inputs.older:
        return Past(earlier=(), said=said, tables=(), remarks=())
    measured = need_points(inputs.measured, "measured", section.where)
    sigma = sigmas_of(measured, shot, sigma_level_of(section, job))
    earlier, changed, remarks = [], [], []
    for revision in inputs.older:
        then = _as_it_was(section, inputs, job, revision)
        if isinstance(then, str):
            remarks += [then] if then else []
            continue
        design, before = staked.feature, then.staked.feature
        found = moves(design, target, before, section.design if then.whole else None)
        if not then.whole:  # it says nothing of stakes whose numbers it does not have
            if not (found.old >= 0).any():
                continue
            found = replace(found, new=np.where(found.old >= 0, found.new, -1))
        changed.append((revision, _changes(design, before, found)))
        old = np.full(len(design), -1, dtype=np.int64)
        old[target] = found.old[: len(target)]
        row_old = np.where(known >= 0, old[known], -1)
        earlier.append(
            _earlier(revision.of.words, staked, then.staked, measured, known, row_old, shot, sigma)
        )
        if then.whole:
            _say_gone(said, measured, before, revision, known, shot, job.unit)
        if found.ambiguous:
            many = found.ambiguous
            remarks.append(
                f"{revision.of.words[:1].upper()}{revision.of.words[1:]} gives {many} "
                f"{'number' if many == 1 else 'numbers'} to several places; "
                f"{'it is' if many == 1 else 'they are'} not compared with it."
            )
    return Past(
        earlier=tuple(earlier),
        said=said,
        tables=_table(changed),
        remarks=tuple(remarks),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Then:
    """The design of a section as a revision had it; whole: nothing of it is taken as it is now."""

    staked: Staked
    whole: bool


def _as_it_was(section: Stakeout, inputs: Inputs, job: Job, revision: Revision) -> _Then | str:
    """Return a section's design as a revision had it, or why there is none ("": it has nothing)."""
    asked, whole = section, True
    if section.stakes is not None and section.name not in revision.stakes:
        whole = False
        if not restates(section.alignment, revision, job):
            asked = replace(section, stakes=None)
    if asked.stakes is None and not len(revision.points):
        return ""
    try:
        staked = staked_design(asked, inputs_of(revision, inputs, job), job_of(revision, job))
    except InputError as fault:
        return useless(revision, fault)
    return _Then(staked=staked, whole=whole)


def _earlier(
    words: str,
    staked: Staked,
    then: Staked,
    measured: Points,
    known: IntArray,
    old: IntArray,
    shot: IntArray,
    sigma: Sigmas,
) -> Earlier:
    """Return how the rows lie to an earlier revision; NaN where it says nothing else.

    words: what the revision is called. old: shape (rows,), indices of its points, -1 for none.
    """
    before, now = then.points, staked.points
    z = picked(before.elevation_m, old)
    # A revision that states no height is taken to have had the one of now.
    z = np.where(np.isnan(z) & (old >= 0), picked(now.elevation_m, known), z)
    blank: TextArray = np.full(len(known), "", dtype=object)
    rows = np.arange(len(known))
    n, e = picked(before.northing_m, old), picked(before.easting_m, old)
    place = replace(
        before,
        id=blank,
        northing_m=n,
        easting_m=e,
        elevation_m=z,
        description=blank,
        layer=blank,
        handle=blank,
        file=np.zeros(len(known), dtype=np.int64),
        line=np.zeros(len(known), dtype=np.int64),
    )
    apart = np.hypot(n - picked(now.northing_m, known), e - picked(now.easting_m, known))
    rise = np.abs(z - picked(now.elevation_m, known))
    other = (apart > SAME_M) | (rise > SAME_M)
    found = deltas(place, np.where(other, rows, -1), measured, shot, sigma)
    made: tuple[Comparison, ...] = point_comparisons(found, words)
    if then.course is not None:
        made += line_comparisons(lined(then, np.where(other, old, -1), found), found)
    up = np.nan_to_num(z - picked(now.elevation_m, known))
    move = np.column_stack(
        (n - picked(now.northing_m, known), e - picked(now.easting_m, known), up)
    )
    move[old < 0] = np.nan
    return Earlier(words=words, comparisons=made, move_m=move)


def _say_gone(
    said: TextArray,
    measured: Points,
    points: Points,
    revision: Revision,
    known: IntArray,
    shot: IntArray,
    unit: LengthUnit,
) -> None:
    """Say of shots without a design point that a revision had one of their number."""
    before, _ = places_by_id(points)
    names = stripped_ids(measured)
    for row in np.flatnonzero((known < 0) & (shot >= 0)).tolist():
        at, old = int(shot[row]), before.get(str(names[shot[row]]))
        if old is None:
            continue
        away = float(
            np.hypot(
                measured.northing_m[at] - points.northing_m[old],
                measured.easting_m[at] - points.easting_m[old],
            )
        )
        text = (
            f"{revision.of.words} had a point of this number, "
            f"{length_text(away, unit, plus=False)} from the shot"
        )
        said[row] = f"{said[row]}; {text}" if said[row] else text


def _table(changed: Sequence[tuple[Revision, _Changes]]) -> tuple[Supplement, ...]:
    """Return what changed since the revisions as a table; none where nothing did."""
    some = [(revision, each) for revision, each in changed if len(each.id)]
    if not some:
        return ()

    def joined(name: str) -> FloatArray:
        return np.concatenate([getattr(each, name) for _, each in some])

    dn, de = joined("dn"), joined("de")
    since = [text for revision, each in some for text in [_short(revision)] * len(each.id)]
    length = Quantity.LENGTH
    return (
        Supplement(
            key="changes",
            title="What changed since earlier revisions of the design",
            head="Point",
            id=np.concatenate([each.id for _, each in some]),
            columns=(
                column("since", "Since", Quantity.TEXT, np.array(since, dtype=object)),
                column(
                    "change",
                    "Change",
                    Quantity.TEXT,
                    np.concatenate([each.what for _, each in some]),
                ),
                column("dn", "Moved north", length, dn),
                column("de", "Moved east", length, de),
                column("horizontal", "Moved in plan", length, np.hypot(dn, de)),
                column("dz", "Raised", length, joined("dz")),
            ),
            note="This revision minus the earlier one, point by point of the same number.",
        ),
    )


def _short(revision: Revision) -> str:
    return revision.of.path if revision.of.revision is None else str(revision.of.revision)


# ---------------------------------------------------------------- the design as a whole


def revision_notices(inputs: Inputs, job: Job) -> tuple[Notice, ...]:
    """Return what changed in the whole design since each earlier revision."""
    if job.design is None or inputs.design is None:
        return ()
    names = stripped_ids(inputs.design)
    every = np.array(list(places_by_id(inputs.design)[0].values()), dtype=np.int64)
    found: list[Notice] = []
    if not every.size:  # a design of lines alone
        return ()
    for revision in inputs.older:
        if not len(revision.points):  # its lines, surfaces or tables count where they are used
            continue
        at = moves(inputs.design, every, revision.points, Selection())
        seen = _changes(inputs.design, revision.points, at)
        shared = int(np.count_nonzero((at.old >= 0) & (at.new >= 0)))
        if not shared:
            text = (
                f"{revision.of.words} and this design have no point number in common: "
                "no stake can be told from it"
            )
        elif meant := older_unit(inputs.design, revision, at, job.design.unit):
            found.append(
                _other_unit(revision, meant, revision.of.unit or job.design.unit, job.file)
            )
            continue
        else:
            parts = _counted(seen) or ["nothing changed"]
            text = f"since {revision.of.words}, of {len(names)} design points: {'; '.join(parts)}"
        found.append(
            Notice(slug="design-changed", where=Where(file=revision.of.path), message=text)
        )
    return tuple(found)


def older_unit(
    design: Points, revision: Revision, found: Moves, own: LengthUnit
) -> LengthUnit | None:
    """Return the unit in which a revision's points would be those of the design; None for none.

    own: of the design. That is where at least three points, and most of those that both have, moved
    by the one factor that turns one unit into the other. What is on the ground comes to the grid
    about an origin of its own, which leaves one shift for all.
    """
    both = (found.old >= 0) & (found.new >= 0)
    if np.count_nonzero(both) < _ENOUGH:
        return None
    now = _plan(design, found.new[both])
    then = _plan(revision.points, found.old[both])
    size = np.hypot(*now.T)
    allowed = _ROUNDED_M + _ROUNDED * size
    read = revision.of.unit or own
    for unit in LengthUnit:
        factor = unit.metres / read.metres
        told = abs(factor - 1.0) * np.hypot(*then.T)
        # two feet differ by so little that a site near its origin shows nothing
        if unit is read or np.median(told) <= 5.0 * np.median(allowed):
            continue
        rest = now - factor * then
        shift = np.median(rest, axis=0) if abs(factor - 1.0) > _FEET_APART else np.zeros(2)
        if np.hypot(*shift) > _SHIFTED * np.median(size):
            continue
        fits = np.hypot(*(rest - shift).T) <= allowed
        if np.mean(fits) > _MOST and np.ptp(now[fits], axis=0).max() > _EXTENT_M:
            return unit
    return None


def _plan(points: Points, index: IntArray) -> FloatArray:
    return np.column_stack((points.northing_m[index], points.easting_m[index]))


def _other_unit(revision: Revision, meant: LengthUnit, read: LengthUnit, file: str) -> Notice:
    words = revision.of.words
    return Notice(
        slug="older-unit",
        where=Where(file=file),
        message=f"the earlier revision, {words}, seems to be in another unit: it was read in "
        f"{read.words}, and read in {meant.words} most of its points would be where this design "
        f'has them. No stake that follows it can be told; write unit = "{meant.value}" in its '
        "entry under older",
    )


def _counted(seen: _Changes) -> list[str]:
    """Return how many points changed in each way, with the first of them."""
    parts = []
    for what in dict.fromkeys(seen.what.tolist()):
        ids = [str(name) for name in seen.id[seen.what == what].tolist()]
        shown = ", ".join(ids[:_NAMED]) + (
            f" and {len(ids) - _NAMED} more" if len(ids) > _NAMED else ""
        )
        parts.append(f"{len(ids)} {what} ({shown})")
    return parts
