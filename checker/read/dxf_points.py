"""The design points of a drawing: where they are, what they are called, how high they are."""

import fnmatch
import math
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from checker.model.arrays import FloatArray
from checker.model.job import Labels
from checker.read.dxf_blocks import Exploded, number
from checker.read.dxf_entities import Space, Text, Xyz
from checker.read.dxf_labels import pair
from checker.read.dxf_notices import Notices, have, points_said, some
from checker.units import LengthUnit

_ELEVATION_ALIKE: Final = 0.005000001
"""Half of the second decimal: an elevation written to two decimals agrees within this."""


@dataclass(slots=True)
class Columns:
    """The design points on their way to `Points`; coordinates in the drawing's unit."""

    xyz: FloatArray
    id: list[str]
    description: list[str]
    layer: list[str]
    handle: list[str]
    kind: list[str]
    numbered: list[bool]


class DesignPoints:
    """Finds the design points of a drawing, tells of what is odd about them."""

    def __init__(self, notices: Notices, unit: LengthUnit, labels: Labels) -> None:
        """Take where to tell, the unit of the drawing, and how its points get their numbers."""
        self._notices = notices
        self._unit = unit
        self._labels = labels

    def find(self, model: Space, exploded: Exploded) -> tuple[Columns, FloatArray, set[int]]:
        """Return the points, their elevations (NaN: none), and the identities of labels used."""
        columns = self._points(model, exploded)
        used = self._label(columns, model, exploded)
        self._name_the_rest(columns)
        self._tell_repeats(columns)
        return columns, self._elevations(columns), used

    def _points(self, model: Space, exploded: Exploded) -> Columns:
        placed = exploded.points
        places: list[Xyz] = [*model.points, *(point.place for point in placed)]
        columns = Columns(
            xyz=np.array(places, dtype=np.float64).reshape(-1, 3),
            id=[""] * len(model.points) + [point.id for point in placed],
            description=[""] * len(model.points) + [point.description for point in placed],
            layer=[tag.layer for tag in model.point_tags] + [point.layer for point in placed],
            handle=[tag.handle for tag in model.point_tags] + [point.handle for point in placed],
            kind=["POINT"] * len(model.points)
            + ["INSERT" if point.symbol else "POINT" for point in placed],
            numbered=[False] * len(model.points) + [point.id != "" for point in placed],
        )
        first = len(model.points)
        taken: dict[str, list[str]] = defaultdict(list)
        differs: dict[str, list[str]] = defaultdict(list)
        symbols: Counter[str] = Counter()
        for index, point in enumerate(placed, first):
            if not point.symbol:
                continue
            symbols[point.symbol] += 1
            stated, z = point.stated_elevation, point.place[2]
            name = point.id or point.handle
            if math.isnan(stated) or abs(stated - z) <= _ELEVATION_ALIKE:
                continue
            if z == 0.0:
                columns.xyz[index, 2] = stated
                taken[point.symbol].append(name)
            else:
                differs[point.symbol].append(f"{name} ({stated:g}, placed at {z:g})")
        for block, count in symbols.items():
            self._notices.tell(
                "symbol-points",
                f'{count} references of block "{block}" are design points: the insertion point, '
                "numbered by an attribute",
            )
        for block, names in taken.items():
            self._notices.tell(
                "elevation-attribute",
                f'references of block "{block}" stand at height 0 and carry an elevation as an '
                f"attribute; the attribute was taken: {some(names)}",
            )
        for block, names in differs.items():
            self._notices.tell(
                "elevation-differs",
                f'references of block "{block}" carry an elevation that is not the height they '
                f"are placed at; the placed height was taken: {some(names)}",
            )
        return columns

    def _label(self, columns: Columns, model: Space, exploded: Exploded) -> set[int]:
        """Give points without a number their labels; return the identities of the labels used."""
        by_texts = self._texts_by_group(model, exploded)
        by_points = self._points_by_group(columns, [not given for given in columns.numbered])
        if self._labels.layers and not by_texts and by_points:
            self._notices.tell(
                "label-layers",
                f"no text stands on the label layers {some(self._labels.layers)}",
            )
        used: set[int] = set()
        for group, indices in by_points.items():
            if group in by_texts:
                used |= self._label_group(columns, indices, by_texts[group])
        if self._labels.elevation_text:
            stated: dict[int, float] = {}
            for group, indices in self._points_by_group(columns, [True] * len(columns.id)).items():
                stated |= self._elevation_texts(columns, indices, by_texts.get(group, []), used)
            self._take_elevations(columns, stated)
        return used

    def _texts_by_group(self, model: Space, exploded: Exploded) -> dict[str, list[Text]]:
        """Return the texts that may be labels, by layer; together where the job names layers."""
        patterns = [pattern.casefold() for pattern in self._labels.layers]
        found: dict[str, list[Text]] = defaultdict(list)
        for text in (*model.texts, *(text for _, text in exploded.texts)):
            layer = text.tag.layer.casefold()
            if text.lines and not patterns:
                found[layer].append(text)
            elif text.lines and any(fnmatch.fnmatchcase(layer, pattern) for pattern in patterns):
                found[""].append(text)
        return found

    def _points_by_group(self, columns: Columns, wanted: Sequence[bool]) -> dict[str, list[int]]:
        found: dict[str, list[int]] = defaultdict(list)
        for index, layer in enumerate(columns.layer):
            if wanted[index]:
                found["" if self._labels.layers else layer.casefold()].append(index)
        return found

    def _elevation_texts(
        self, columns: Columns, indices: list[int], texts: list[Text], used: set[int]
    ) -> dict[int, float]:
        """Return the elevations that texts with decimals give to points, in the drawing's unit."""
        # Under the number in one text, or a text of its own.
        stated = {
            index: value
            for index in indices
            if not math.isnan(value := _decimal(columns.description[index].split(" ")[0]))
        }
        rest = [index for index in indices if index not in stated]
        texts = [text for text in texts if id(text) not in used and _is_decimal(text.lines[0])]
        if not rest or not texts:
            return stated
        radius = self._labels.radius_m
        pairing = pair(
            columns.xyz[rest, :2],
            np.array([text.place[:2] for text in texts]),
            None if radius is None else radius / self._unit.metres,
        )
        chosen = pairing.label.tolist()
        for index, label in zip(rest, chosen, strict=True):
            if label >= 0:
                stated[index] = _decimal(texts[label].lines[0])
                used.add(id(texts[label]))
        unsure = pairing.doubtful | pairing.far
        names = [columns.id[rest[i]] or columns.handle[rest[i]] for i in np.flatnonzero(unsure)]
        if names:
            self._notices.tell(
                "elevation-ambiguous",
                f"{have(len(names))} another elevation text about as near, or a far one; "
                f"elevations may be exchanged: {some(names)}",
                f"layer {texts[0].tag.layer}",
            )
        return stated

    def _take_elevations(self, columns: Columns, stated: dict[int, float]) -> None:
        taken, differs = [], []
        for index, value in sorted(stated.items()):
            z = columns.xyz[index, 2]
            name = columns.id[index] or columns.handle[index]
            if abs(value - z) <= _ELEVATION_ALIKE:
                continue
            if z == 0.0:
                columns.xyz[index, 2] = value
                taken.append(name)
            else:
                differs.append(f"{name} ({value:g}, placed at {z:g})")
        if taken:
            self._notices.tell(
                "elevation-from-text",
                f"{points_said(len(taken))} at height 0 took the elevation written beside them, as "
                f"the job asks: {some(taken)}",
            )
        if differs:
            self._notices.tell(
                "elevation-differs",
                "an elevation written beside a point is not the height it is placed at; the placed "
                f"height was taken: {some(differs)}",
            )

    def _label_group(self, columns: Columns, indices: list[int], texts: list[Text]) -> set[int]:
        part = f"layer {texts[0].tag.layer}"
        texts = self._without_elevations(texts, len(indices), part)
        radius = self._labels.radius_m
        pairing = pair(
            columns.xyz[indices, :2],
            np.array([text.place[:2] for text in texts]),
            None if radius is None else radius / self._unit.metres,
        )
        chosen = pairing.label.tolist()
        for index, label in zip(indices, chosen, strict=True):
            if label >= 0:
                lines = texts[label].lines
                columns.id[index] = lines[0]
                columns.description[index] = columns.description[index] or " ".join(lines[1:])
        for slug, flags, message in (
            ("label-ambiguous", pairing.doubtful,
             "another label or another point about as near; numbers may be exchanged"),
            ("label-far", pairing.far,
             "the label more than ten times farther off than is usual there"),
        ):  # fmt: skip
            names = [columns.id[indices[i]] for i in np.flatnonzero(flags).tolist()]
            if names:
                self._notices.tell(
                    slug,
                    f"{have(len(names))} {message}: {some(names)}. Set label layers, a radius "
                    "or an attribute in the job, or move the labels",
                    part,
                )
        return {id(texts[label]) for label in chosen if label >= 0}

    def _without_elevations(self, texts: list[Text], points: int, part: str) -> list[Text]:
        """Leave out texts that are elevations where the others suffice as numbers."""
        if len(texts) <= points:
            return texts
        decimal = [len(text.lines) == 1 and _is_decimal(text.lines[0]) for text in texts]
        rest = [text for text, is_decimal in zip(texts, decimal, strict=True) if not is_decimal]
        if len(rest) < points or len(rest) == len(texts):
            return texts
        example = next(
            t.lines[0] for t, is_decimal in zip(texts, decimal, strict=True) if is_decimal
        )
        self._notices.tell(
            "elevation-text",
            f'{sum(decimal)} texts with decimals, like "{example}", were taken for elevations '
            "written beside the points, not for point numbers"
            + ("" if self._labels.elevation_text else "; heights come from the points only"),
            part,
        )
        return rest

    def _name_the_rest(self, columns: Columns) -> None:
        nameless: dict[str, list[str]] = defaultdict(list)
        for index, name in enumerate(columns.id):
            if not name:
                columns.id[index] = f"@{columns.handle[index]}"
                nameless[columns.layer[index]].append(columns.id[index])
        for layer, names in nameless.items():
            self._notices.tell(
                "unlabelled-point",
                f"{have(len(names))} no label and {'is' if len(names) == 1 else 'are'} called by "
                f"handle: {some(names)}",
                f"layer {layer}",
            )

    def _tell_repeats(self, columns: Columns) -> None:
        if len(set(columns.id)) == len(columns.id):
            return
        places: dict[str, set[tuple[float, ...]]] = defaultdict(set)
        for name, place in zip(columns.id, columns.xyz.tolist(), strict=True):
            places[name].add(tuple(place))
        repeated = [name for name, found in places.items() if len(found) > 1]
        if repeated:
            self._notices.tell(
                "repeated-label",
                f"{len(repeated)} point number{'s' if len(repeated) > 1 else ''} stand at more "
                f"than one place: {some(repeated)}. A check that uses one refuses it",
            )

    def _elevations(self, columns: Columns) -> FloatArray:
        elevation = columns.xyz[:, 2].copy()
        if elevation.all():
            return elevation
        by_layer: dict[str, list[int]] = defaultdict(list)
        for index, layer in enumerate(columns.layer):
            by_layer[layer.casefold()].append(index)
        for indices in by_layer.values():
            zero = [index for index in indices if elevation[index] == 0.0]
            if not zero:
                continue
            part = f"layer {columns.layer[indices[0]]}"
            names = some([columns.id[index] for index in zero])
            if len(zero) == len(indices):
                elevation[zero] = np.nan
                self._notices.tell(
                    "no-elevation",
                    f"{'the one point has' if len(zero) == 1 else f'all {len(zero)} points have'} "
                    "height 0, which is taken as no elevation given",
                    part,
                )
            else:
                self._notices.tell(
                    "zero-elevation",
                    f"of {len(indices)} points {len(zero)} "
                    f"{'has' if len(zero) == 1 else 'have'} height 0, which is kept as "
                    f"their elevation: {names}. Is it meant?",
                    part,
                )
        return elevation


def _is_decimal(text: str) -> bool:
    return not math.isnan(_decimal(text))


def _decimal(text: str) -> float:
    """Return a number written with decimals, NaN for any other text."""
    text = text.replace(",", ".", 1)
    return number(text) if "." in text else float("nan")
