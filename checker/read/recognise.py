"""Guess what the files of a new job are: unit, columns, layers, check shots, repeats.

Whatever is guessed is argued, for the user must be able to say no. The strongest argument is that
numbers that stand in both the design and the shots lie at the same places.
"""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from checker.errors import InputError, Problem, Where
from checker.geometry.degrees import look_geographic
from checker.model.arrays import FloatArray, IntArray
from checker.model.guess import Guess, LayerGuess
from checker.model.job import Labels
from checker.model.points import Points, Quality
from checker.read.drawing import read_drawing
from checker.read.dxf_header import HEADER_UNITS
from checker.read.files import Source
from checker.read.guess_columns import Known, columns_of
from checker.read.look import is_drawing
from checker.read.points import read_points
from checker.text import fixed
from checker.units import JOB_UNITS, LengthUnit

_M: Final = LengthUnit.METRE
_AGAIN_S: Final = 20.0 * 60.0
"""Shots of one number this far apart in time are worth a comparison: see the job text's source."""
_NEAR_M: Final = 1.0
"""A shot this near to a design point may stand for it where no numbers agree."""
_LEAST_ON_LINE: Final = 3
"""Fewer shots along a layer's lines than this are there by chance."""
_STAKE_M: Final = 2.0
"""Shots of a stake lie nearer to it than this, as a rule; common practice, no source."""
_FAR_M: Final = 5.0
"""Shots farther than this from the design point of their number are hardly its stakes."""
_UNEVEN_M: Final = 0.06
"""Heights over the design that scatter by more (one sigma) are those of the ground: a wrong pole
or datum moves all alike, and no survey is so rough. Common practice, no source."""
_SIGMAS_PER_DEVIATION: Final = 1.4826
"""One sigma of normal deviations over the median of their sizes."""
_LEAST_UNEVEN: Final = 4
"""Fewer heights than this show no scatter."""
_BETTER: Final = 3.0
"""Another reading of the units is taken only where it fits this many times better."""
_ALIKE: Final = 0.005
"""Fits that differ by no more than this, in the unit of the shots, are alike."""
_AGREES: Final = 0.01
"""And where the places then agree within this share of the coordinates themselves."""
_MOST_LABEL_LAYERS: Final = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    """Points with their coordinates as they stand in the file, in the file's own unit.

    said: the unit that the file names. xy: shape (points, 2), easting and northing. z: elevations.
    lines: layer and course, shape (vertices, 2), of drawn lines.
    """

    points: Points
    xy: FloatArray
    z: FloatArray
    names: tuple[str, ...]
    said: LengthUnit | None
    columns: Mapping[str, str]
    why: tuple[str, ...] = ()
    header: str = ""
    labels: Labels = field(default_factory=Labels)
    lines: tuple[tuple[str, FloatArray], ...] = ()


def recognise(
    title: str, design: Source, measured: Sequence[Source], control: Source | None
) -> Guess:
    """Return what a new job says of its files; their paths are taken from the sources.

    Raises InputError where a file cannot be read, or holds no columns that could be points.
    """
    proof = None if control is None else _table([control], "control", {})
    plan = _design(design, _known(proof))
    shots = _table(measured, "as-measured", _known(proof, plan))
    if control is not None and proof is not None and proof.why:
        # Its columns were guessed before there was anything to compare them with.
        proof = _table([control], "control", _known(plan))
    if plan.labels == Labels() and is_drawing(design.data):
        plan = _better_labels(design, plan, set(shots.names))
    return _Guesser(title, design, measured, control, plan, shots, proof).guess()


# ---------------------------------------------------------------- reading, in the file's own unit


def _found(
    points: Points, unit: LengthUnit, said: LengthUnit | None, columns: Mapping[str, str]
) -> _Found:
    return _Found(
        points=points,
        xy=unit.from_metres(np.column_stack((points.easting_m, points.northing_m))),
        z=unit.from_metres(points.elevation_m),
        names=tuple(str(name).strip() for name in points.id.tolist()),
        said=said,
        columns=columns,
    )


def _known(*files: _Found | None) -> Known:
    """Return where the files have their numbers, the first file first."""
    places: dict[str, tuple[float, float, float]] = {}
    for each in files:
        if each is None:
            continue
        for name, (e, n), z in zip(each.names, each.xy.tolist(), each.z.tolist(), strict=True):
            if name and not name.startswith("@"):
                places.setdefault(name, (e, n, z))
    return places


def _design(source: Source, known: Known) -> _Found:
    if not (is_drawing(source.data) or source.path.lower().endswith(".dxf")):
        return _table([source], "design points", known)
    return _drawing(source, Labels())


def _drawing(source: Source, labels: Labels) -> _Found:
    drawing = read_drawing(source, unit=_M, labels=labels)
    by_name = {words: metres for words, metres in HEADER_UNITS.values() if words}
    metres = by_name.get(drawing.header_unit)
    said = next((unit for unit in LengthUnit if unit.metres == metres), None)
    return replace(
        _found(drawing.points, _M, said, {}),
        header=drawing.header_unit,
        labels=labels,
        lines=tuple((line.layer, line.xy_m) for line in drawing.linework if len(line.xy_m) > 1),
    )


def _better_labels(source: Source, plan: _Found, shots: set[str]) -> _Found:
    """Look for the points' numbers on other layers where their own have none that were shot."""
    nameless = [name for name in plan.names if name.startswith("@")]
    if not nameless:
        return plan
    drawing = read_drawing(source, unit=_M, labels=Labels())
    layers = {
        entry.layer
        for entry in drawing.counts
        if entry.kind in ("TEXT", "MTEXT", "ATTDEF", "ATTRIB")
    }
    best, most = plan, len(shots.intersection(plan.names))
    for layer in sorted(layers)[:_MOST_LABEL_LAYERS]:
        if any(sign in layer for sign in "*?["):
            continue
        tried = _drawing(source, Labels(layers=(layer,)))
        met = len(shots.intersection(tried.names))
        if met > most:
            best, most = tried, met
    return best


def _table(sources: Sequence[Source], role: str, known: Known) -> _Found:
    """Read tables of points, guessing columns where their headings do not tell."""
    said: LengthUnit | None = None
    columns: dict[str, str] = {}
    why: tuple[str, ...] = ()
    problems: list[Problem] = []
    for source in sources:
        try:
            unit, mapping, argued = columns_of(source, known)
        except InputError as fault:
            problems.extend(fault.problems)
            continue
        said = said or unit
        if mapping and not columns:
            columns, why = mapping, argued
    if problems:
        raise InputError(problems)
    own = said or _M
    points, _ = read_points(
        sources, unit=own, columns=columns, role=role, unique=role != "as-measured"
    )
    return replace(_found(points, own, said, columns), why=why)


# ---------------------------------------------------------------- what it all means


class _Guesser:
    def __init__(
        self,
        title: str,
        design: Source,
        measured: Sequence[Source],
        control: Source | None,
        plan: _Found,
        shots: _Found,
        proof: _Found | None,
    ) -> None:
        self._title = title
        self._design = design
        self._measured = measured
        self._control = control
        self._plan, self._shots, self._proof = plan, shots, proof
        self._doubts: list[str] = []

    def guess(self) -> Guess:
        unit, design_unit, sure, why = self._units()
        self._unit = unit
        self._design_unit = design_unit or unit
        self._design_m = self._plan.xy * self._design_unit.metres
        self._shots_m = self._shots.xy * unit.metres
        control = set() if self._proof is None else set(self._proof.names)
        layers, idle = self._layers(control)
        layers = self._with_lines(layers, control)
        if not len(self._plan.names) and not any(layer.line for layer in layers):
            raise InputError([_no_design_points(self._design.path)])
        if look_geographic(self._plan.xy) and not look_geographic(self._shots.xy):
            raise InputError([_in_degrees(self._design.path, self._plan.xy)])
        if not any(layer.met for layer in layers):
            self._doubts.append(
                "no shot fits any design point, neither by number nor by place; the first report "
                "will say that nothing is checked. Are these files of one job?"
            )
        far = [each for each in layers if each.nearest_m is None and each.apart_m > _FAR_M]
        if far:
            self._doubts.append(
                f"numbers agree, but their shots lie {self._far(far[0].apart_m)} off the design "
                "(median): other numbers, another grid or zone, ground coordinates, or another unit"
            )
        names = set(self._plan.names)
        found = {
            "design": self._plan,
            "measured": self._shots,
            **({"control": self._proof} if self._proof is not None else {}),
        }
        quality = self._shots.points.quality
        solutions: tuple[str, ...] = ()
        if quality.solution is not None:
            solutions = tuple(sorted({text for text in quality.solution.tolist() if text}))
        return Guess(
            title=self._title,
            design=self._design.path,
            design_is_table=not self._plan.header and bool(self._plan.points.line.any()),
            measured=tuple(source.path for source in self._measured),
            control=None if self._control is None else self._control.path,
            unit=unit,
            unit_sure=sure,
            unit_why=why,
            design_unit=design_unit,
            columns={name: each.columns for name, each in found.items() if each.columns},
            columns_why={name: each.why for name, each in found.items() if each.why},
            label_layers=self._plan.labels.layers,
            layers=layers,
            idle=idle,
            shots=len(self._shots.names),
            check_shots=sum(name in control and name not in names for name in self._shots.names),
            again=self._again(),
            quality=tuple(name for name in Quality.__slots__ if getattr(quality, name) is not None),
            solutions=solutions,
            doubts=tuple(self._doubts),
        )

    # Units

    def _units(self) -> tuple[LengthUnit, LengthUnit | None, bool, tuple[str, ...]]:
        """Return the job's unit, the design's if it is another, whether it is sure, and why."""
        pairs = _pairs(self._plan, self._shots)
        said, why = self._said()
        relation = self._relation(pairs, why) if len(pairs) else None
        if relation is None and not len(pairs):
            relation = self._by_extents(why)
        if relation is not None:
            ours, theirs, sure = relation
            if said is not None and said is not ours:
                self._doubts.append(
                    f"the shots say {said.words}, but fit the design only as {ours.words}"
                )
            return ours, theirs, sure, tuple(why)
        if said is not None:
            header = self._plan.said
            if header is not None and header is not said:
                why.append(
                    f"the drawing's header says {header.words}, but its coordinates agree with "
                    f"the shots as they stand: it is read in {said.words} too"
                    if len(pairs)
                    else f"the drawing's header says {header.words}, the shots {said.words}; "
                    "nothing to compare them by was found. TO CONFIRM"
                )
            return said, None, header in (None, said) or bool(len(pairs)), tuple(why)
        if self._plan.said is not None:
            why.append(
                f"the drawing's header says {self._plan.said.words}; a header is a hint, no proof"
            )
        if self._plan.said in JOB_UNITS:
            if self._plan.said.is_foot:
                why.append(self._which_foot())
            return self._plan.said, None, False, tuple(why)
        why.append("no file says in which unit it is; metres are assumed")
        self._doubts.append("no file says in which unit it is: state it in [job]")
        return _M, None, False, tuple(why)

    def _said(self) -> tuple[LengthUnit | None, list[str]]:
        """Return the unit that the tables name."""
        why = []
        said = None
        for what, found in (("shots", self._shots), ("control", self._proof)):
            if found is not None and found.said is not None:
                why.append(f"the table of the {what} says {found.said.words}")
                said = said or found.said
        if self._plan.header and self._plan.said is None:
            why.append(f"the drawing's header says {self._plan.header}, in which no job can be")
        return said, why

    def _relation(
        self, pairs: IntArray, why: list[str]
    ) -> tuple[LengthUnit, LengthUnit, bool] | None:
        """Return the units of shots and design where these differ, and whether that is sure."""
        there, ours = self._plan.xy[pairs[:, 0]], self._shots.xy[pairs[:, 1]]

        def apart(factor: float) -> float:
            """Return the distance, in the unit of the shots, with the design times factor."""
            return float(np.median(np.hypot(*(ours - there * factor).T)))

        same = apart(1.0)
        tried = {
            (one, other): apart(other.metres / one.metres)
            for one in JOB_UNITS
            for other in LengthUnit
            if one is not other and (self._shots.said in (None, one))
        }
        numbers = f"{len(pairs)} numbers that design and shots share"
        best = min(tried, key=lambda pair: tried[pair], default=None)
        reach = _AGREES * float(np.median(np.hypot(*ours.T)))
        if (
            best is not None
            and tried[best] * _BETTER < same
            and tried[best] <= reach
            and same > 0.1
        ):
            why.append(
                f"{numbers} lie {fixed(tried[best], 3)} {best[0].short} apart (median) with the "
                f"shots in {best[0].words} and the design in {best[1].words}, and "
                f"{fixed(same, 3)} with both in one unit"
            )
            alike = [pair for pair in tried if tried[pair] <= 1.5 * tried[best] + _ALIKE]
            if len(alike) == 1:
                return (*best, True)
            # Near the origin of the grid the two feet fit alike: what the header says decides.
            why.append(self._which_foot())
            said = [pair for pair in alike if self._plan.said in pair]
            return (*(said or [best])[0], False)
        why.append(
            f"{numbers} lie {fixed(same, 3)} units apart (median): "
            + (
                "both files are in one unit"
                if same <= reach
                else "no pair of units brings them together, so one unit is assumed for both"
            )
        )
        return None

    def _by_extents(self, why: list[str]) -> tuple[LengthUnit, LengthUnit, bool] | None:
        """Return the units of shots and design where the header's unit alone brings both together.

        For files that share no number.
        """
        header = self._plan.said
        units = JOB_UNITS if self._shots.said is None else (self._shots.said,)
        if header is None or not len(self._plan.xy) or not len(self._shots.xy):
            return None
        low, high = self._shots.xy.min(axis=0), self._shots.xy.max(axis=0)
        room = np.maximum(high - low, 1.0)
        middle = np.median(self._plan.xy, axis=0)

        def met(factor: float) -> bool:
            place = middle * factor
            return bool((place >= low - room).all() and (place <= high + room).all())

        fits = [unit for unit in units if unit is not header and met(header.metres / unit.metres)]
        if not fits or met(1.0):
            return None
        why.append(
            f"the drawing's header says {header.words}, and so its middle lies among the shots "
            f"in {fits[0].words}, as it does not in one unit; no number stands in both. TO CONFIRM"
        )
        if fits[0].is_foot:
            why.append(self._which_foot())
        return fits[0], header, False

    def _which_foot(self) -> str:
        largest = float(np.max(np.abs(self._shots.xy))) if len(self._shots.xy) else 0.0
        return (
            "which foot is not shown by numbers: the two differ by 2 parts in a million, "
            f"{fixed(largest * 2e-6, 2)} ft at the largest coordinate here. TO CONFIRM"
        )

    # Layers

    def _layers(
        self, control: set[str]
    ) -> tuple[tuple[LayerGuess, ...], tuple[tuple[str, str], ...]]:
        rows_of: dict[str, list[int]] = defaultdict(list)
        for row, layer in enumerate(self._plan.points.layer.tolist()):
            rows_of[layer].append(row)
        shot_of: dict[str, list[int]] = defaultdict(list)
        for row, name in enumerate(self._shots.names):
            shot_of[name].append(row)
        chosen: dict[str, tuple[list[int], list[int], float]] = {}
        above: dict[str, tuple[float, float]] = {}
        idle: list[tuple[str, str]] = []
        for layer, rows in rows_of.items():
            names = [self._plan.names[row] for row in rows]
            if control and len(control.intersection(names)) * 2 > len(set(names)):
                idle.append((layer, "its points are control"))
                continue
            met = [(row, shot_of[name][-1]) for row, name in zip(rows, names, strict=True)
                   if name in shot_of]  # fmt: skip
            if not met:
                whose = (
                    "its one point has no"
                    if len(rows) == 1
                    else f"none of its {len(rows)} points has a"
                )
                idle.append((layer, f"{whose} shot of its number"))
                continue
            pairs = np.array(met)
            away = np.hypot(*(self._design_m[pairs[:, 0]] - self._shots_m[pairs[:, 1]]).T)
            shots = sorted({shot for row, _ in met for shot in shot_of[self._plan.names[row]]})
            chosen[layer] = (rows, shots, float(np.median(away)))
            above[layer] = self._above(pairs)
        chosen, far = self._fitting(chosen)
        idle += far
        if not chosen:
            return self._by_place(rows_of, idle)
        layers = []
        for layer, (rows, shots, apart) in sorted(chosen.items()):
            numbers = {self._plan.names[row] for row in rows}
            above_m, uneven_m = above[layer]
            layers.append(
                LayerGuess(
                    layer=layer,
                    points=len(rows),
                    met=len(numbers.intersection(self._shots.names)),
                    apart_m=apart,
                    above_m=above_m,
                    heights=self._heights(rows, shots),
                    at_ground=apart <= _STAKE_M and uneven_m > _UNEVEN_M and abs(above_m) <= _FAR_M,
                )
            )
        return tuple(layers), tuple(sorted(idle))

    def _fitting(
        self, chosen: dict[str, tuple[list[int], list[int], float]]
    ) -> tuple[dict[str, tuple[list[int], list[int], float]], list[tuple[str, str]]]:
        """Leave layers aside whose numbers are those of shots that lie somewhere else."""
        if not chosen:
            return chosen, []
        best = min(apart for _, _, apart in chosen.values())
        limit = max(_STAKE_M, 10.0 * best)
        near = {layer: found for layer, found in chosen.items() if found[2] <= limit}
        far = [
            (
                layer,
                f"its numbers were shot {self._far(found[2])} away (median)",
            )
            for layer, found in chosen.items()
            if layer not in near
        ]
        return near, far

    def _far(self, away_m: float) -> str:
        return f"{fixed(self._unit.from_metres(away_m), 1)} {self._unit.short}"

    def _by_place(
        self, rows_of: Mapping[str, list[int]], idle: list[tuple[str, str]]
    ) -> tuple[tuple[LayerGuess, ...], tuple[tuple[str, str], ...]]:
        """Return the layers whose points have shots close by, where no number agrees."""
        from scipy.spatial import KDTree

        layers = []
        for layer, rows in sorted(rows_of.items()):
            if not len(self._shots_m):
                break
            distance, shot = KDTree(self._shots_m).query(self._design_m[rows])
            near = np.asarray(distance) <= _NEAR_M
            if near.any():
                shots = np.unique(np.asarray(shot)[near]).tolist()
                layers.append(
                    LayerGuess(
                        layer=layer,
                        points=len(rows),
                        met=int(near.sum()),
                        apart_m=float(np.median(np.asarray(distance)[near])),
                        nearest_m=_NEAR_M,
                        heights=self._heights(rows, shots),
                    )
                )
        if layers:
            taken = {each.layer for each in layers}
            return tuple(layers), tuple(sorted(each for each in idle if each[0] not in taken))
        everything = sorted(row for rows in rows_of.values() for row in rows)
        every = LayerGuess(
            layer="*" if any(rows_of) else "",
            points=len(everything),
            met=0,
            apart_m=float("nan"),
            heights=self._heights(everything, range(len(self._shots.names))),
        )
        return (every,), tuple(sorted(idle))

    def _above(self, pairs: IntArray) -> tuple[float, float]:
        """Return how far shots stand above the design points of these pairs, metres.

        The median, and how they scatter about it: one sigma, from the median of the deviations.
        """
        rise = self._shots.z[pairs[:, 1]] * self._unit.metres
        rise = rise - self._plan.z[pairs[:, 0]] * self._design_unit.metres
        there = rise[np.isfinite(rise)]
        if not len(there):
            return float("nan"), float("nan")
        middle = float(np.median(there))
        if len(there) < _LEAST_UNEVEN:
            return middle, float("nan")
        return middle, _SIGMAS_PER_DEVIATION * float(np.median(np.abs(there - middle)))

    def _with_lines(
        self, layers: tuple[LayerGuess, ...], control: set[str]
    ) -> tuple[LayerGuess, ...]:
        """Add layers along whose lines shots stand that no design point has the number of."""
        numbers = set(self._plan.names) | control
        by_place = any(layer.nearest_m is not None for layer in layers)
        free = [row for row, name in enumerate(self._shots.names) if name not in numbers]
        if by_place or not free or not self._plan.lines:
            return layers
        near = self._nearest_lines(free)
        found = []
        for layer in sorted(set(near.values())):
            shots = [row for row, name in near.items() if name == layer]
            if len(shots) < _LEAST_ON_LINE or any(sign in layer for sign in "*?"):
                continue
            others = [row for row in range(len(self._shots.names)) if row not in set(shots)]
            descriptions: tuple[str, ...] = ()
            ids: tuple[str, ...] = ()
            if self._along(layer, others, control):  # its place alone does not tell a line's shot
                descriptions, ids = self._selection(shots, others)
            found.append(
                LayerGuess(
                    layer=layer,
                    points=0,
                    met=len(shots),
                    apart_m=float("nan"),
                    line=True,
                    nearest_m=_NEAR_M,
                    heights=False,
                    descriptions=descriptions,
                    ids=ids,
                )
            )
        if found and not any(layer.met for layer in layers):
            return tuple(found)
        return (*layers, *found)

    def _along(self, layer: str, shots: Sequence[int], control: set[str]) -> bool:
        """Tell whether one of these shots, check shots apart, stands by a line of this layer."""
        from shapely import LineString, STRtree, points

        names = self._shots.names
        there = [row for row in shots if names[row] not in control]
        drawn = [
            LineString(course * self._design_unit.metres)
            for name, course in self._plan.lines
            if name == layer and np.isfinite(course).all()
        ]
        places = points(self._shots_m[there])
        return bool(STRtree(drawn).query(places, "dwithin", _NEAR_M).size)

    def _nearest_lines(self, shots: list[int]) -> dict[int, str]:
        """Return the layer of the line that each of these shots stands on, where one is near."""
        from shapely import LineString, STRtree, points

        drawn = [
            (layer, course * self._design_unit.metres)
            for layer, course in self._plan.lines
            if np.isfinite(course).all()
        ]
        if not drawn:
            return {}
        tree = STRtree([LineString(course) for _, course in drawn])
        places = points(self._shots_m[shots])
        which, line = tree.query_nearest(places, max_distance=_NEAR_M, all_matches=False)
        return {shots[int(shot)]: drawn[int(at)][0] for shot, at in zip(which, line, strict=True)}

    def _heights(self, rows: Sequence[int], shots: Sequence[int]) -> bool:
        return bool(
            np.isfinite(self._plan.z[list(rows)]).any()
            and np.isfinite(self._shots.z[list(shots)]).any()
        )

    def _selection(
        self, shots: list[int], others: list[int]
    ) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """Return the descriptions, else the numbers, that tell a layer's shots from the others."""
        texts = self._shots.points.description
        own = Counter(str(texts[row]).strip() for row in shots)
        foreign = {str(texts[row]).strip().casefold() for row in set(others) - set(shots)}
        plain = all(own) and not any(sign in text for text in own for sign in "*?")
        if plain:
            starts = sorted({_letters(text) for text in own})
            if (
                all(len(start) >= 2 for start in starts)
                and len(starts) <= 3
                and not any(text.startswith(s.casefold()) for text in foreign for s in starts)
            ):
                return tuple(f"{start}*" for start in starts), ()
            if len(own) <= 5 and not {text.casefold() for text in own} & foreign:
                return tuple(sorted(own)), ()
        return (), tuple(dict.fromkeys(self._shots.names[row] for row in shots))

    def _again(self) -> int:
        """Return how many numbers were shot again at least 20 minutes later."""
        time = self._shots.points.quality.time
        if time is None:
            return 0
        times: dict[str, list[float]] = defaultdict(list)
        for name, when in zip(self._shots.names, time.astype("datetime64[s]"), strict=True):
            if name and not np.isnat(when):
                times[name].append(float(when.astype(np.int64)))
        return sum(max(each) - min(each) >= _AGAIN_S for each in times.values())


def _no_design_points(path: str) -> Problem:
    return Problem(
        slug="no-design-points",
        where=Where(file=path),
        message="the design holds no points, and no shots stand along its lines",
        hint="a stake is a POINT with its number as a text beside it on the same layer, or a block "
        "with the number as an attribute; `checker show` lists what the drawing holds",
    )


def _in_degrees(path: str, xy: FloatArray) -> Problem:
    low, high = xy.min(axis=0), xy.max(axis=0)
    return Problem(
        slug="no-frame",
        where=Where(file=path),
        message="the design's coordinates look like degrees: "
        f"x {low[0]:.6f} to {high[0]:.6f}, y {low[1]:.6f} to {high[1]:.6f}",
        hint="have it exported on the grid that the shots are on; a design is never taken from "
        "longitude and latitude to a grid here",
    )


def _letters(text: str) -> str:
    """Return the letters that a description begins with."""
    for place, sign in enumerate(text):
        if not sign.isalpha():
            return text[:place]
    return text


def _pairs(plan: _Found, shots: _Found) -> IntArray:
    """Return (design, shot) of every number that stands once in the design; shape (pairs, 2)."""
    counts = Counter(plan.names)
    row_of = {
        name: row
        for row, name in enumerate(plan.names)
        if counts[name] == 1 and name and not name.startswith("@")
    }
    met = {row_of[name]: row for row, name in enumerate(shots.names) if name in row_of}
    return np.array(sorted(met.items()), dtype=np.int64).reshape(-1, 2)
