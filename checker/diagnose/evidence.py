"""The residuals of a job as one table: stakes and check shots, with what may split them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from checker.diagnose.rematch import Table, rematched, repeats_of, table_of
from checker.diagnose.sources import heights_alone, related_points, tested_points
from checker.model.arrays import BoolArray, FloatArray, IntArray, TextArray
from checker.model.finding import Finding
from checker.model.inputs import Inputs
from checker.model.job import Accuracy, Against, Job, Match, Relative, Stakeout
from checker.model.measure import Measure
from checker.model.points import Points

SPLITS = ("session", "base", "day", "file", "pole", "layer", "check", "relative")
"""What may split a group off, in the order of preference where two split alike: `relative` is the
relative check whose points they are."""
DRAWN = ("layer", "check", "relative")
"""Groups of stakes that belong together on the plan."""
UNKNOWN_SIGMA_H_M = 0.010
UNKNOWN_SIGMA_Z_M = 0.015
"""Standard deviations per axis where none is shown: real-time work, common practice, no source."""
_LEAST_SIGMA_M = 0.001
"""No stored standard deviation is believed to be smaller."""
_LEAST_OFFSET_M = 0.1
"""A design point nearer to its alignment stands on it (our choice)."""
_NO_DATA = (0.0, -9999.0, 9999.0, -99999.0, 99999.0, -999.0, -999.25, -32768.0, -1e6)
"""Numbers that stand for "no elevation" in files, in the file's unit (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Rows that share the value of a column."""

    by: str
    value: str
    rows: BoolArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """Rows of comparisons, each of a known and an as-measured point; sorted by `section`.

    known, measured: shape (rows, 3), northing, easting, elevation, metres, NaN where missing.
    sigma: shape (rows, 2), of a plan axis and of the height. shown: whether the job states it.
    control: the row is a check shot. section: which check it belongs to, an index of `sections`.
    by_id: the row was matched by number. right: shape (rows, 2), north and east of the unit vector
    to the right of the alignment, NaN without. set_off_m: how far right of its feature, or of the
    alignment where it stands for itself, the stake should stand; NaN where it has neither. codes:
    column -> shape (rows,), -1 without a value; values: their texts. bias: sessions that may share
    a small bias. no_height: the value that stands in place of an elevation, NaN where there is
    none; no_height_of: "measured" or "design". older: name of an earlier revision of the design ->
    shape (rows, 3), by how much it differs from the design, NaN where it has no point of that
    number. tested: the row belongs to an accuracy test. anywhere: the row's check has no limit in
    plan, so that grade stakes may stand anywhere near their point. again: the rows are later shots
    of marks against their first ones, and there is no design.
    """

    known: FloatArray
    measured: FloatArray
    sigma: FloatArray
    shown: BoolArray
    control: BoolArray
    section: IntArray
    sections: tuple[str, ...]
    id: TextArray
    by_id: BoolArray
    right: FloatArray
    set_off_m: FloatArray
    codes: dict[str, IntArray]
    values: dict[str, tuple[str, ...]]
    bias: IntArray
    no_height: FloatArray
    no_height_of: TextArray
    older: dict[str, FloatArray]
    anywhere: BoolArray
    tested: BoolArray
    again: bool = False

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.id)

    def groups(self, least: int = 2) -> list[Group]:
        """Return groups of `least` rows or more that are not all rows, each set of rows once."""
        found: list[Group] = []
        seen: set[bytes] = set()
        stakes = ~self.control
        for by in SPLITS:
            codes = self.codes.get(by)
            if codes is None:
                continue
            counts = np.bincount(codes[codes >= 0], minlength=len(self.values[by]))
            whole = int(stakes.sum()) if by in DRAWN else len(self)
            for code in np.flatnonzero((counts >= least) & (counts < whole)).tolist():
                rows = codes == code
                key = np.packbits(rows).tobytes()
                if key not in seen:
                    seen.add(key)
                    found.append(Group(by=by, value=self.values[by][code], rows=rows))
        return found

    def picked(self, rows: IntArray) -> "Evidence":
        """Return the rows of these indices, which must be sorted."""
        return Evidence(
            known=self.known[rows],
            measured=self.measured[rows],
            sigma=self.sigma[rows],
            shown=self.shown[rows],
            control=self.control[rows],
            section=self.section[rows],
            sections=self.sections,
            id=self.id[rows],
            by_id=self.by_id[rows],
            right=self.right[rows],
            set_off_m=self.set_off_m[rows],
            codes={by: codes[rows] for by, codes in self.codes.items()},
            values=self.values,
            bias=self.bias[rows] if len(self.bias) else self.bias,
            no_height=self.no_height[rows],
            no_height_of=self.no_height_of[rows],
            older={name: move[rows] for name, move in self.older.items()},
            anywhere=self.anywhere[rows],
            tested=self.tested[rows],
            again=self.again,
        )


def gather(job: Job, inputs: Inputs, findings: Sequence[Finding]) -> Evidence | None:
    """Return the rows of the job's stakeouts and of its control; None where there are none.

    Superseded, excluded and unmatched rows are left out. Of shots on surfaces, drawn lines and
    grades, whose design point is found from the shot itself, the heights are looked at alone. What
    accuracy tests and relative checks compare beside counts too; a shot that several checks use
    counts once, in stakeouts and the control before all others.
    """
    if inputs.measured is None:
        return None
    offsets = {section.name: section for section in job.checks if isinstance(section, Stakeout)}
    parts: list[_Part] = []
    taken = np.zeros(len(inputs.measured), dtype=np.bool_)
    for finding in findings:
        measure = finding.measure
        section = offsets.get(measure.name) if measure.kind == "stakeout" else None
        if measure.kind == "stakeout" and (section is None or on_lines(section)):
            continue
        if measure.kind not in ("stakeout", "control"):
            continue
        rows = _usable(measure)
        table = table_of(measure, rows)
        if section is not None and section.match is Match.NEAREST:
            again = rematched(measure, rows, inputs, _free(inputs, taken), job.reference.crs)
            table = table if again is None else again
        table = table.picked(~taken[table.shot])
        if len(table.shot):
            taken[table.shot] = True
            by_id = section is None or section.match is not Match.NEAREST or table.by_id
            parts.append(_Part(measure=measure, table=table, section=section, by_id=by_id))
    parts += _others(job, inputs, findings, taken)
    if not parts:
        parts = _repeats(findings)
    if not parts:
        return None
    return _joined(parts, job, inputs, findings)


def on_lines(section: Stakeout) -> bool:
    """Tell whether a stakeout finds its design points from the shots: on lines and grades."""
    if section.match not in (Match.LINE, Match.STATION):
        return False
    return section.match is Match.LINE or (section.stakes is None and section.design.everything)


def _others(
    job: Job, inputs: Inputs, findings: Sequence[Finding], taken: BoolArray
) -> list["_Part"]:
    """Return what checks other than stakeouts and control compare, of shots not yet `taken`."""
    sections = {section.name: section for section in job.checks}
    parts: list[_Part] = []
    for kind in ("accuracy", "relative", "surface", "stakeout"):
        for finding in findings:
            measure = finding.measure
            section = sections.get(measure.name)
            if measure.kind != kind or not len(measure.id) or section is None:
                continue
            if isinstance(section, Relative) and inputs.design is None:
                continue  # columns plumbed against themselves
            if isinstance(section, Accuracy):
                known = section.against is not Against.DESIGN or section.file is not None
                table, proof = tested_points(measure, inputs), known
            elif isinstance(section, Relative):
                table, proof = related_points(measure, inputs), False
            elif not isinstance(section, Stakeout) or on_lines(section):
                table, proof = heights_alone(measure), False
            else:
                continue
            table = table.picked(~taken[table.shot])
            if len(table.shot):
                taken[table.shot] = True
                part = _Part(measure=measure, table=table, section=None, by_id=kind == "relative")
                parts.append(replace(part, proof=proof, kind=kind))
    return parts


def _repeats(findings: Sequence[Finding]) -> list["_Part"]:
    """Return the repeats of marks, where the job compares nothing else."""
    parts = []
    for finding in findings:
        measure = finding.measure
        if measure.kind == "repeats" and len(measure.id):
            table = repeats_of(measure)
            if len(table.shot):
                parts.append(
                    _Part(measure=measure, table=table, section=None, by_id=False, again=True)
                )
    return parts


def _free(inputs: Inputs, taken: BoolArray) -> IntArray:
    """Return the shots that are neither taken nor check shots."""
    assert inputs.measured is not None  # noqa: S101  (gather has looked)
    free = ~taken
    if inputs.control is not None:
        names = {str(name).strip() for name in inputs.control.id.tolist()}
        free &= np.array([str(x).strip() not in names for x in inputs.measured.id.tolist()])
    return np.flatnonzero(free)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """A check's rows. proof: what it compares with is known; kind: of other checks, "" of these."""

    measure: Measure
    table: Table
    section: Stakeout | None
    by_id: bool
    again: bool = False
    proof: bool = False
    kind: str = ""


def _usable(measure: Measure) -> IntArray:
    shot = measure.shots[:, 0]
    here = (shot >= 0) & (measure.unchecked == "")
    here &= ~np.asarray(measure.column("superseded").values, dtype=np.bool_)
    for key in ("design_n", "design_e", "measured_n", "measured_e"):
        here &= np.isfinite(measure.numbers(key))
    return np.flatnonzero(here)


def _joined(
    parts: Sequence[_Part], job: Job, inputs: Inputs, findings: Sequence[Finding]
) -> Evidence:
    known = np.vstack([p.table.known for p in parts])
    measured = np.vstack([p.table.measured for p in parts])
    lines = np.vstack([p.table.lines for p in parts])
    stored = np.vstack([p.table.stored for p in parts])
    shot = np.concatenate([p.table.shot for p in parts])
    section = np.repeat(np.arange(len(parts)), [len(p.table.shot) for p in parts])
    control = np.array([p.measure.kind == "control" or p.proof for p in parts])[section]
    names = np.concatenate([p.table.id for p in parts])
    by_id = np.array([p.by_id for p in parts], dtype=np.bool_)[section]
    set_off = np.concatenate([_set_off(p) for p in parts])
    shown = np.isfinite(stored) & (stored > 0)
    usual = np.broadcast_to((UNKNOWN_SIGMA_H_M, UNKNOWN_SIGMA_Z_M), stored.shape)
    sigma = np.where(shown, np.maximum(stored, _LEAST_SIGMA_M), usual)
    codes, values = _splits(parts, job, inputs, findings, shot, section, control)
    older = {
        revision.of.words: _moved(
            parts, revision.of.words, _older(revision.points, names, known, control)
        )
        for revision in inputs.older
    }
    no_height, no_height_of = _without_height(known, measured, job)
    masked = ~np.isnan(no_height)
    known, measured = known.copy(), measured.copy()
    gap = (measured - known)[:, 2]
    for move in older.values():  # what follows an earlier revision was finished, if to another one
        then = gap - move[:, 2]
        gap = np.where(np.abs(then) < np.abs(gap), then, gap)
    for number, part in enumerate(parts):
        of = section == number
        if _at_ground(part, gap[of], sigma[of, 1]):
            known[of, 2] = np.nan
    known[masked, 2] = np.where(no_height_of[masked] == "design", np.nan, known[masked, 2])
    measured[masked, 2] = np.where(no_height_of[masked] == "measured", np.nan, measured[masked, 2])
    return Evidence(
        known=known,
        measured=measured,
        sigma=sigma,
        shown=shown,
        control=control,
        section=section,
        sections=tuple(p.measure.name for p in parts),
        id=names,
        by_id=by_id,
        right=_rightward(known, measured, lines),
        set_off_m=set_off,
        codes=codes,
        values=values,
        bias=_sessions(codes),
        no_height=no_height,
        no_height_of=no_height_of,
        older=older,
        tested=np.array([p.kind == "accuracy" for p in parts], dtype=np.bool_)[section],
        anywhere=np.array([_anywhere(p) for p in parts], dtype=np.bool_)[section],
        again=any(part.again for part in parts),
    )


def _set_off(part: _Part) -> FloatArray:
    """Return how far right of what it stands for each stake should be, NaN where on it."""
    if part.section is not None and part.section.stake_offset_m:
        return np.full(len(part.table.shot), part.section.stake_offset_m)
    off = part.table.set_off
    return np.where(np.abs(np.nan_to_num(off)) < _LEAST_OFFSET_M, np.nan, off)


def _moved(parts: Sequence[_Part], words: str, by_number: FloatArray) -> FloatArray:
    """Return earlier minus present design as the checks found it, else by the points' numbers."""
    found: list[FloatArray] = []
    for part in parts:
        known = by_number[sum(map(len, found)) :][: len(part.table.shot)].copy()
        for each in part.measure.earlier:
            if each.words == words and each.move_m is not None:
                rows = _rows_of(part)
                there = rows >= 0
                known[there] = each.move_m[rows[there]]
        found.append(known)
    return np.vstack(found)


def _rows_of(part: _Part) -> IntArray:
    """Return the row of the measure behind every row of a part's table; -1: it was re-matched."""
    shot, table = part.measure.shots[:, 0], part.table
    usable = np.flatnonzero((shot >= 0) & part.measure.counted & (part.measure.unchecked == ""))
    row_of = {int(shot[row]): int(row) for row in usable}
    rows = np.array([row_of.get(int(each), -1) for each in table.shot.tolist()], dtype=np.int64)
    for axis, key in enumerate(("design_n", "design_e")):
        if any(column.key == key for column in part.measure.columns):
            other = part.measure.numbers(key)[rows] != table.known[:, axis]
            rows[other & np.isfinite(table.known[:, axis])] = -1
    return rows


def _older(points: Points, names: TextArray, known: FloatArray, control: BoolArray) -> FloatArray:
    """Return earlier minus present design, shape (rows, 3); a height that one lacks has no move."""
    place: dict[str, int] = {}
    for index, name in enumerate(points.id.tolist()):
        place.setdefault(str(name).strip(), index)
    if not place:
        return np.full(known.shape, np.nan)
    at = np.array([place.get(str(name).strip(), -1) for name in names.tolist()], dtype=np.int64)
    at[control] = -1
    there = np.column_stack((points.northing_m, points.easting_m, points.elevation_m))
    move = there[at] - known
    move[:, 2] = np.nan_to_num(move[:, 2])
    move[at < 0] = np.nan
    return move


def _anywhere(part: _Part) -> bool:
    """Tell whether nothing limits where a check's stakes stand in plan."""
    limits = part.measure.tolerance
    if part.section is None or limits is None:
        return False
    plan = (limits.horizontal, limits.along, limits.across, limits.left, limits.right)
    return all(limit is None for limit in plan)


def _at_ground(part: _Part, dz: FloatArray, sigma: FloatArray) -> bool:
    """Tell whether stakes stand at ground, their cut on the lath: no limit, and no common height.

    Their heights then say nothing of the measuring; nor do those of a surface that is not finished.
    """
    tolerance = part.measure.tolerance
    ground = part.kind in ("surface", "stakeout")  # which is graded little by little
    if not ground and (part.section is None or tolerance is None):
        return False
    if not ground and tolerance and (tolerance.vertical or tolerance.above or tolerance.below):
        return False
    there = np.isfinite(dz)
    if not there.any():
        return False
    middle = np.median(dz[there])
    spread = 1.483 * float(np.median(np.abs(dz[there] - middle)))
    return spread > 3.0 * float(np.median(sigma[there]))


def _without_height(
    known: FloatArray, measured: FloatArray, job: Job
) -> tuple[FloatArray, TextArray]:
    """Return the values that stand in place of elevations: exact, and far from what is compared."""
    value = np.full(len(known), np.nan)
    side: TextArray = np.full(len(known), "", dtype=object)
    apart = np.abs(measured[:, 2] - known[:, 2])
    units = [job.unit.metres, 1.0]
    if job.measured is not None:
        units.append(job.measured.unit.metres)
    if job.design is not None:
        units.append(job.design.unit.metres)
    marks = np.unique([mark * unit for mark in _NO_DATA for unit in units])
    empty = np.abs(marks) > 1.0
    for name, z in (("measured", measured[:, 2]), ("design", known[:, 2])):
        near = np.isclose(z[:, None], marks[None, :], rtol=1e-12, atol=1e-9)
        nothing = near[:, empty].any(axis=1) & (apart > 3.0)
        zero = near[:, ~empty].any(axis=1) & (apart > 1.0)
        # A real height may be 0 once; a value that is missing is missing again and again.
        if zero.sum() < 2 and len(z) > 3:
            zero &= apart > 3.0
        hit = nothing | zero
        value[hit] = z[hit]
        side[hit] = name
    return value, side


def _rightward(known: FloatArray, measured: FloatArray, lines: FloatArray) -> FloatArray:
    """Return the unit vector to the right of the line at each row; NaN where no line is named."""
    move = measured - known
    along, across = lines[:, 0], lines[:, 1]
    with np.errstate(invalid="ignore"):
        azimuth = np.arctan2(move[:, 1], move[:, 0]) - np.arctan2(across, along)
        exact = np.abs(np.hypot(along, across) - np.hypot(move[:, 0], move[:, 1])) < 1e-3
    right = np.column_stack((-np.sin(azimuth), np.cos(azimuth)))
    right[~exact] = np.nan
    return right


def _splits(
    parts: Sequence[_Part],
    job: Job,
    inputs: Inputs,
    findings: Sequence[Finding],
    shot: IntArray,
    section: IntArray,
    control: BoolArray,
) -> tuple[dict[str, IntArray], dict[str, tuple[str, ...]]]:
    measured = inputs.measured
    assert measured is not None  # noqa: S101  (gather has looked)
    quality = measured.quality
    texts: dict[str, TextArray] = {}
    for by, column in (("session", quality.session), ("base", quality.base)):
        if column is not None:
            texts[by] = column[shot]
    if quality.time is not None:
        days = quality.time[shot].astype("datetime64[D]").astype(str).astype(object)
        days[days == "NaT"] = ""
        texts["day"] = days
    texts["file"] = np.array(measured.files, dtype=object)[measured.file[shot]]
    if quality.pole_m is not None:
        poles = np.round(quality.pole_m[shot] / job.unit.metres, 4)
        texts["pole"] = np.array(["" if np.isnan(p) else f"{p:g}" for p in poles.tolist()], object)
    texts["layer"] = np.where(control, "", np.concatenate([p.table.layer for p in parts]))
    names = np.array([p.measure.name for p in parts], dtype=object)[section]
    texts["check"] = np.where(control, "", names)
    texts["relative"] = np.where(control, "", _related(findings, inputs)[shot])
    codes: dict[str, IntArray] = {}
    values: dict[str, tuple[str, ...]] = {}
    for by in SPLITS:
        if by not in texts:
            continue
        words, code = np.unique(texts[by].astype(str), return_inverse=True)
        code = code.reshape(-1).astype(np.int64)
        if len(words) and words[0] == "":
            words, code = words[1:], code - 1
        if len(words):
            codes[by], values[by] = code, tuple(str(word) for word in words)
    return codes, values


def _related(findings: Sequence[Finding], inputs: Inputs) -> TextArray:
    """Return for every shot the first relative check that it belongs to, or ""."""
    assert inputs.measured is not None  # noqa: S101  (gather has looked)
    names: TextArray = np.full(len(inputs.measured), "", dtype=object)
    for finding in findings:
        if finding.measure.kind == "relative" and len(finding.measure.used) > 2:
            own = finding.measure.used
            names[own[names[own] == ""]] = finding.measure.name
    return names


def _sessions(codes: dict[str, IntArray]) -> IntArray:
    """Return the finest usual occupation that each row belongs to."""
    for by in ("session", "day", "file"):
        if by in codes:
            found: IntArray = codes[by] - codes[by].min()
            return found
    return np.zeros(0, dtype=np.int64)
