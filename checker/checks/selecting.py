"""Which points a check compares: selections, exclusions, and what stands in for what."""

import difflib
import re
from collections.abc import Sequence
from operator import is_

import numpy as np

from checker.errors import InputError, Problem, Where
from checker.model.arrays import BoolArray, IntArray, TextArray, same_text
from checker.model.inputs import Inputs
from checker.model.job import Job, Selection
from checker.model.points import Points

_SHOWN = 8
"""How many names a message lists."""


def stripped_ids(points: Points) -> TextArray:
    """Return the ids without blanks around them; shape (points,), not to be written to."""
    given = points.id.tolist()
    stripped = list(map(str.strip, given))
    if all(map(is_, given, stripped)):
        return points.id
    ids: TextArray = np.empty(len(points), dtype=object)
    ids[:] = stripped
    return ids


def loose_id(name: str) -> str:
    """Return a number without case, blanks and leading zeros."""
    return re.sub(r"(?<![0-9])0+(?=[0-9])", "", re.sub(r"\s+", "", name)).casefold()


def all_different(texts: TextArray) -> bool:
    """Return whether no text stands twice."""
    # Numbers that stand for the texts sort more quickly, and in less room, than a set is made.
    codes = np.sort(np.fromiter(map(hash, texts.tolist()), dtype=np.int64, count=len(texts)))
    return not (codes[1:] == codes[:-1]).any() or len(set(texts.tolist())) == len(texts)


def fits(patterns: Sequence[str], texts: TextArray) -> BoolArray:
    """Return which texts fit one of the patterns: ``*`` any run, ``?`` one character, any case."""
    wanted = re.compile(
        "|".join(
            re.escape(pattern.strip()).replace(r"\*", ".*").replace(r"\?", ".")
            for pattern in patterns
        ),
        re.IGNORECASE | re.DOTALL,
    )
    verdict = {
        text: wanted.fullmatch(str(text).strip()) is not None
        for text in dict.fromkeys(texts.tolist())
    }
    return np.array([verdict[text] for text in texts.tolist()], dtype=np.bool_)


def select_points(points: Points, selection: Selection, role: str, where: Where) -> IntArray:
    """Return the indices of the points that fit every list of the selection.

    role: design or measured. Raises InputError at `where` naming what there is: for the design
    where a pattern fits no point, for the as-measured points where the selection does.
    """
    chosen = np.ones(len(points), dtype=np.bool_)
    problems = []
    for kind, patterns, texts in _lists(points, selection):
        hits = [fits([pattern], texts) for pattern in patterns]
        any_of_them = np.logical_or.reduce(hits)
        problems += [
            _nothing(role, kind, pattern, texts, where)
            for pattern, hit in zip(patterns, hits, strict=True)
            if not hit.any() and (role == "design" or not any_of_them.any())
        ]
        chosen &= any_of_them
    if not problems and not chosen.any():
        problems.append(_nothing_in_all(role, selection, where))
    if problems:
        raise InputError(problems)
    return np.flatnonzero(chosen)


def _lists(points: Points, selection: Selection) -> list[tuple[str, tuple[str, ...], TextArray]]:
    """Return the lists of the selection that ask for something, with what they look at."""
    files: TextArray = np.array(points.files, dtype=object)[points.file]
    every = [
        ("layer", selection.layers, points.layer),
        ("id", selection.ids, points.id),
        ("description", selection.descriptions, points.description),
        ("file", selection.files, files),
    ]
    return [(kind, patterns, texts) for kind, patterns, texts in every if patterns]


def _nothing(role: str, kind: str, pattern: str, texts: TextArray, where: Where) -> Problem:
    """Return the problem of a pattern that fits nothing, naming what there is, nearest first."""
    there = sorted({str(text).strip() for text in texts.tolist()} - {""})
    return Problem(
        slug="layer-unknown" if kind == "layer" else "selection-empty",
        where=where,
        message=f'{role}: no {_noun(role)} point has the {kind} "{pattern}"',
        hint=f"there {'is' if len(there) == 1 else 'are'}: {_listed(pattern, there)}"
        if there
        else f"no {_noun(role)} point has any {kind}; leave the key out",
    )


def _nothing_in_all(role: str, selection: Selection, where: Where) -> Problem:
    """Return the problem of lists that each fit something, but no point fits them all."""
    if selection.everything:
        message = f"{role}: there are no {_noun(role)} points"
        hint = f"name the files of the {_noun(role)} points"
    else:
        message = f"{role}: no {_noun(role)} point fits all that is asked for at once"
        hint = "loosen one of the lists; a point must fit every one"
    return Problem(slug="selection-empty", where=where, message=message, hint=hint)


def _noun(role: str) -> str:
    """Return how the points of that role are called."""
    return "design" if role == "design" else "as-measured"


def _listed(wanted: str, names: Sequence[str]) -> str:
    """Return the names, those nearest to the wanted one first, the rest counted."""
    plain = re.sub(r"[*?]", "", wanted).strip().casefold()
    ordered = sorted(
        names,
        key=lambda name: -difflib.SequenceMatcher(None, plain, name.casefold()).ratio(),
    )
    text = ", ".join(ordered[:_SHOWN])
    more = len(ordered) - _SHOWN
    return f"{text} and {more} more" if more > 0 else text


def need_points(points: Points | None, role: str, where: Where) -> Points:
    """Return the points; raises InputError where the job has none of that role."""
    if points is not None and len(points):
        return points
    raise InputError(
        [
            Problem(
                slug="no-points",
                where=where,
                message=f"this section compares {_noun(role)} points, and the job has none",
                hint=f"name their files under [{role}]",
            )
        ]
    )


def exclusion_reasons(job: Job, measured: Points) -> TextArray:
    """Return why the user set points aside, or ""; shape (points,).

    An exclusion holds for every shot of that id. Raises InputError where there is no such id.
    """
    if job.measured is None or not job.measured.exclude:
        return same_text("", len(measured))
    reasons: TextArray = np.full(len(measured), "", dtype=object)
    ids = stripped_ids(measured)
    problems = []
    for exclusion in job.measured.exclude:
        same = ids == exclusion.id.strip()
        if not same.any():
            names = list(dict.fromkeys(ids.tolist()))
            near = difflib.get_close_matches(exclusion.id.strip(), names, n=3, cutoff=0.5)
            problems.append(
                Problem(
                    slug="exclusion-unknown",
                    where=exclusion.where,
                    message=f'exclude: no as-measured point has the id "{exclusion.id}"',
                    hint=f"the nearest there: {', '.join(near)}" if near else "drop the exclusion",
                )
            )
        reasons[same] = exclusion.reason
    if problems:
        raise InputError(problems)
    return reasons


def control_ids(inputs: Inputs) -> frozenset[str]:
    """Return the ids of the control points."""
    return frozenset() if inputs.control is None else frozenset(stripped_ids(inputs.control))


def check_shots(inputs: Inputs, measured: Points) -> BoolArray:
    """Return which as-measured points prove control: they carry a control id, and no design id."""
    known = control_ids(inputs)
    if not known:
        return np.zeros(len(measured), dtype=np.bool_)
    if inputs.design is not None:
        known -= frozenset(stripped_ids(inputs.design))
    return np.array([text in known for text in stripped_ids(measured).tolist()], dtype=np.bool_)


def control_remarks(count: int) -> tuple[str, ...]:
    """Return what to say of so many check shots, which a comparison with the design leaves out."""
    if not count:
        return ()
    what = "shot carries a control id and is" if count == 1 else "shots carry control ids and are"
    return (f"{count} {what} compared with control, not with the design.",)


def unique_points(points: Points, chosen: IntArray, where: Where, role: str = "design") -> IntArray:
    """Return the chosen points with every id once; points without an id all stay.

    Of lines that state the same point the first that gives an elevation stays. Raises InputError
    where an id stands twice with other coordinates.
    """
    ids = stripped_ids(points)
    if all_different(ids[chosen]):
        return chosen.astype(np.int64)
    seen: dict[str, int] = {}
    kept: dict[int, int] = {}
    problems = []
    for position, index in enumerate(chosen.tolist()):
        name = ids[index]
        first = seen.setdefault(name, position) if name else position
        if first == position:
            kept[position] = index
            continue
        other = kept[first]
        if _differ(points, other, index):
            problems.append(
                Problem(
                    slug="repeated-id",
                    where=where,
                    message=f'{role} point "{name}" stands twice with other coordinates:'
                    f" {place(points, other)} and {place(points, index)}",
                    hint="give one of them another number, or select one layer or file",
                )
            )
        elif np.isnan(points.elevation_m[other]):
            kept[first] = index
    if problems:
        raise InputError(problems)
    return np.array(list(kept.values()), dtype=np.int64)


_SAME_M = 1e-6


def _differ(points: Points, first: int, second: int) -> bool:
    """Return whether two points are apart; an elevation that one does not give does not count."""
    apart = max(
        abs(points.northing_m[first] - points.northing_m[second]),
        abs(points.easting_m[first] - points.easting_m[second]),
    )
    rise = abs(points.elevation_m[first] - points.elevation_m[second])
    return bool(apart > _SAME_M or rise > _SAME_M)


def place(points: Points, index: int) -> str:
    """Return where a point was read, as a message says it."""
    file = points.files[int(points.file[index])]
    if points.line[index]:
        return f"{file}:{points.line[index]}"
    layer, handle = points.layer[index], points.handle[index]
    return f"{file} (layer {layer}, handle {handle})"


def in_order_of_time(points: Points, group: IntArray, order: IntArray) -> IntArray:
    """Return a permutation of `order` by group, and within a group by time.

    group: shape (k,), the group of each point of `order` (k,). A group in which a point shows no
    time stays in the order of the files and rows.
    """
    sequence = np.arange(len(order))
    time = points.quality.time
    if time is None or not len(order):
        return np.lexsort((sequence, order, group))
    when = time[order]
    silent = np.isnat(when)
    _, inverse = np.unique(group, return_inverse=True)
    without = np.bincount(inverse, weights=silent) > 0
    ticks = np.where(without[inverse], 0, when.astype("datetime64[ms]").astype(np.int64))
    return np.lexsort((order, ticks, group))
