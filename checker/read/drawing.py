"""Read a drawing: its design points, its linework for the plan, and all there is to say about it.

Every entity of model space is counted with what became of it. Coordinates are never converted by
what the file's header says: the job states the unit, and a header that says otherwise is told.
Unit codes: $INSUNITS of the open DXF reference, see tests/published.
"""

import fnmatch
import math
import operator
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from checker.errors import InputError, Problem, Where
from checker.model.arrays import FloatArray
from checker.model.drawing import Drawing, EntityCount, Figure, Notice, Polyline
from checker.model.job import Labels
from checker.model.points import Points, Quality
from checker.read.dxf_blocks import Block, Exploded, explode, number
from checker.read.dxf_entities import COORDINATE_LIMIT, Space, Tag, Text, Xyz, gather
from checker.read.dxf_faces import PLANE_M, Faces, faces_of
from checker.read.dxf_figures import Drawn, figures_of, outlines
from checker.read.dxf_labels import pair
from checker.read.dxf_open import MAX_TOLD, Opened, library_faults, no_garbage, open_document
from checker.read.dxf_text import clean
from checker.read.files import Source
from checker.units import M_PER_FOOT, M_PER_US_SURVEY_FOOT, LengthUnit

if TYPE_CHECKING:
    from ezdxf.document import Drawing as Document

FIGURE_SAGITTA_M: Final = 0.001
"""What is no line or circular arc is checked as chords that stand off by no more than this."""
SAGITTA_M: Final = 0.01
"""Arcs in the plan are drawn as chords that stand off by no more than this."""
MAX_BLOCK_VERTICES: Final = 2_000_000
"""So many vertices of linework inside blocks are shown; points are never limited."""

HEADER_UNITS: Final[dict[int, tuple[str, float]]] = {
    1: ("inches", M_PER_FOOT / 12.0),
    2: ("feet", M_PER_FOOT),
    3: ("miles", 5280.0 * M_PER_FOOT),
    4: ("millimetres", 1e-3),
    5: ("centimetres", 1e-2),
    6: ("metres", 1.0),
    7: ("kilometres", 1e3),
    8: ("microinches", 1e-6 * M_PER_FOOT / 12.0),
    9: ("mils", 1e-3 * M_PER_FOOT / 12.0),
    10: ("yards", 3.0 * M_PER_FOOT),
    11: ("angstroms", 1e-10),
    12: ("nanometres", 1e-9),
    13: ("microns", 1e-6),
    14: ("decimetres", 1e-1),
    15: ("decametres", 1e1),
    16: ("hectometres", 1e2),
    17: ("gigametres", 1e9),
    18: ("astronomical units", 149_597_870_700.0),
    19: ("light years", 9_460_730_472_580_800.0),
    20: ("parsecs", 149_597_870_700.0 * 648_000.0 / np.pi),
    21: ("US survey feet", M_PER_US_SURVEY_FOOT),
    22: ("US survey inches", M_PER_US_SURVEY_FOOT / 12.0),
    23: ("US survey yards", 3.0 * M_PER_US_SURVEY_FOOT),
    24: ("US survey miles", 5280.0 * M_PER_US_SURVEY_FOOT),
}
"""Words and metres of the header's unit codes; 0 names no unit."""
_UNIT_WORDS: Final = {
    LengthUnit.METRE: "metres",
    LengthUnit.FOOT: "feet",
    LengthUnit.US_SURVEY_FOOT: "US survey feet",
}
_LAYER_AND_KIND = operator.attrgetter("layer", "kind")
_SHOWN: Final = 5
_ELEVATION_ALIKE: Final = 0.005000001
"""Half of the second decimal: an elevation written to two decimals agrees within this."""
_SYMBOL_SIZE: Final = 12
"""A block of at most so many entities may be a point's symbol."""
_POINT, _LABEL, _LINEWORK = "design point", "label", "linework"
_SURFACE, _BARE, _UNUSED = "surface triangle", "face without area: left out", "not used"
_BROKEN, _PAPER = "could not be read", "paper space: left out"


def read_drawing(
    source: Source, *, unit: LengthUnit, labels: Labels, quick: bool = True
) -> Drawing:
    """Read a drawing.

    unit: what its coordinates are in, as the job states it. labels: how points get their numbers.
    quick: large drawings may be read on a quicker way, with the same outcome.
    Raises InputError: the file is no drawing, is damaged, or its blocks have no end (see
    `open_document` and `explode`); or a point has no coordinates (drawing-point).
    """
    with no_garbage():
        opened = open_document(source, quick=quick)
        return _Reader(source.path, opened, unit, labels).read()


@dataclass(slots=True)
class _Columns:
    """The design points on their way to `Points`; coordinates in the drawing's unit."""

    xyz: FloatArray
    id: list[str]
    description: list[str]
    layer: list[str]
    handle: list[str]
    kind: list[str]
    numbered: list[bool]


class _Reader:
    def __init__(self, file: str, opened: Opened, unit: LengthUnit, labels: Labels) -> None:
        self._file = file
        self._opened = opened
        self._document = opened.document
        self._unit = unit
        self._labels = labels
        self._notices = list(opened.notices)
        self._problems: list[Problem] = []
        self._blocks: dict[str, Block | None] = {}
        # Names are shown and compared without the codes that the file may spell them with.
        self._block_names = {
            clean(layout.name).strip().casefold(): layout.name for layout in self._document.blocks
        }

    def read(self) -> Drawing:
        model, destroyed = self._model_space()
        exploded = explode(model, self._block, self._file, self._labels)
        self._problems += exploded.problems
        self._refuse_broken(model, exploded)
        if self._problems:
            raise InputError(self._problems)
        self._tell_blocks(exploded)
        self._tell_typed(model)
        columns = self._points(model, exploded)
        used = self._label(columns, model, exploded)
        self._name_the_rest(columns)
        self._tell_repeats(columns)
        elevation = self._elevations(columns)
        figures, without, astray = figures_of(
            [
                *(Drawn(tag, curve) for tag, curve in model.curves),
                *(Drawn(tag, curve) for _, tag, curve in exploded.curves),
            ],
            self._unit.metres,
            FIGURE_SAGITTA_M,
        )
        self._tell_without_length(without)
        self._tell_astray(astray)
        linework = self._linework(figures)
        faces = self._faces(model, exploded)
        counts = self._counts(model, exploded, used, destroyed, faces)
        self._tell_layers(counts)
        self._tell_symbols(model, exploded, used)
        self._tell_header(columns.xyz, linework)
        self._tell_lost(counts)
        metres, count = self._unit.metres, len(columns.id)
        return Drawing(
            path=self._file,
            version=self._opened.version,
            header_unit=HEADER_UNITS.get(self._opened.insunits or 0, ("", 0.0))[0],
            points=Points(
                id=_objects(columns.id),
                northing_m=columns.xyz[:, 1] * metres,
                easting_m=columns.xyz[:, 0] * metres,
                elevation_m=elevation * metres,
                description=_objects(columns.description),
                layer=_objects(columns.layer),
                handle=_objects(columns.handle),
                file=np.zeros(count, dtype=np.int64),
                line=np.zeros(count, dtype=np.int64),
                files=(self._file,),
                quality=Quality(),
            ),
            figures=tuple(figures),
            triangles=faces.triangles if faces else None,
            linework=tuple(linework),
            counts=tuple(counts),
            notices=tuple(self._notices),
        )

    # What is there

    def _model_space(self) -> tuple[Space, int]:
        """Return model space, and how many of its entities mending destroyed."""
        try:
            layout = self._document.modelspace()
            entities = [entity for entity in layout if entity.is_alive]
            destroyed = len(layout) - len(entities)
        except library_faults() as fault:
            raise InputError(
                [
                    Problem(
                        slug="drawing-damaged",
                        where=Where(file=self._file),
                        message=f"the drawing's model space cannot be found: {clean(str(fault))}",
                        hint="open it where it was drawn and export it again",
                    )
                ]
            ) from fault
        model = gather(entities, FIGURE_SAGITTA_M / self._unit.metres)
        sieved = self._opened.sieved
        if sieved is not None:
            # Kinds that both hold do not occur; see `dxf_sieve`.
            model.points += map(tuple, sieved.points.tolist())
            model.point_tags += sieved.point_tags
            model.texts += sieved.texts
            model.plain = sieved.quads
            model.quad_tags = sieved.quad_tags + model.quad_tags
            model.surfaces = sieved.quad_tags + model.surfaces
        return model, destroyed

    def _block(self, name: str) -> Block | None:
        key = name.casefold()
        if key not in self._blocks:
            self._blocks[key] = self._open_block(name)
        return self._blocks[key]

    def _open_block(self, name: str) -> Block | None:
        try:
            layout = self._document.blocks[self._block_names[name.casefold()]]
            head = layout.block
            if head is None:
                return None
            base = np.array([*head.dxf.get("base_point", (0.0, 0.0, 0.0)), 0.0])[:3]
            is_external = bool(head.dxf.get("flags", 0) & (4 | 8))
            path = str(head.dxf.get("xref_path", "")) if is_external else ""
            entities = [entity for entity in layout if entity.is_alive]
        except library_faults():
            return None
        if not np.all(np.isfinite(base)):
            return None
        space = gather(entities, FIGURE_SAGITTA_M / self._unit.metres)
        external = (clean(path) or "another file") if is_external and not space.size else ""
        return Block(name=name, base=base, space=space, external=external)

    def _refuse_broken(self, model: Space, exploded: Exploded) -> None:
        """Refuse what may hold points and cannot be read; tell the rest."""
        broken = [("", tag, said) for tag, said in model.broken]
        broken += list(dict.fromkeys(exploded.broken))
        for block, tag, said in broken:
            inside = f'block "{block}", ' if block else ""
            where = Where(file=self._file, part=inside + str(tag))
            if tag.kind in {"POINT", "INSERT"}:
                self._problems.append(
                    Problem(
                        slug="drawing-point",
                        where=where,
                        message=f"this {tag.kind} cannot be placed: {said}",
                        hint="set it again where it was drawn, or erase it, and export again",
                    )
                )
            else:
                self._tell("unreadable-entity", f"could not be read and is left out: {said}", where)

    # Design points

    def _points(self, model: Space, exploded: Exploded) -> _Columns:
        placed = exploded.points
        places: list[Xyz] = [*model.points, *(point.place for point in placed)]
        columns = _Columns(
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
            self._tell(
                "symbol-points",
                f'{count} references of block "{block}" are design points: the insertion point, '
                "numbered by an attribute",
            )
        for block, names in taken.items():
            self._tell(
                "elevation-attribute",
                f'references of block "{block}" stand at height 0 and carry an elevation as an '
                f"attribute; the attribute was taken: {_some(names)}",
            )
        for block, names in differs.items():
            self._tell(
                "elevation-differs",
                f'references of block "{block}" carry an elevation that is not the height they '
                f"are placed at; the placed height was taken: {_some(names)}",
            )
        return columns

    def _label(self, columns: _Columns, model: Space, exploded: Exploded) -> set[int]:
        """Give points without a number their labels; return the identities of the labels used."""
        by_texts = self._texts_by_group(model, exploded)
        by_points = self._points_by_group(columns, [not given for given in columns.numbered])
        if self._labels.layers and not by_texts and by_points:
            self._tell(
                "label-layers",
                f"no text stands on the label layers {_some(self._labels.layers)}",
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

    def _points_by_group(self, columns: _Columns, wanted: Sequence[bool]) -> dict[str, list[int]]:
        found: dict[str, list[int]] = defaultdict(list)
        for index, layer in enumerate(columns.layer):
            if wanted[index]:
                found["" if self._labels.layers else layer.casefold()].append(index)
        return found

    def _elevation_texts(
        self, columns: _Columns, indices: list[int], texts: list[Text], used: set[int]
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
            self._tell(
                "elevation-ambiguous",
                f"{_have(len(names))} another elevation text about as near, or a far one; "
                f"elevations may be exchanged: {_some(names)}",
                Where(file=self._file, part=f"layer {texts[0].tag.layer}"),
            )
        return stated

    def _take_elevations(self, columns: _Columns, stated: dict[int, float]) -> None:
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
            self._tell(
                "elevation-from-text",
                f"{_points(len(taken))} at height 0 took the elevation written beside them, as "
                f"the job asks: {_some(taken)}",
            )
        if differs:
            self._tell(
                "elevation-differs",
                "an elevation written beside a point is not the height it is placed at; the placed "
                f"height was taken: {_some(differs)}",
            )

    def _label_group(self, columns: _Columns, indices: list[int], texts: list[Text]) -> set[int]:
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
                self._tell(
                    slug,
                    f"{_have(len(names))} {message}: {_some(names)}. Set label layers, a radius "
                    "or an attribute in the job, or move the labels",
                    Where(file=self._file, part=part),
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
        self._tell(
            "elevation-text",
            f'{sum(decimal)} texts with decimals, like "{example}", were taken for elevations '
            "written beside the points, not for point numbers"
            + ("" if self._labels.elevation_text else "; heights come from the points only"),
            Where(file=self._file, part=part),
        )
        return rest

    def _name_the_rest(self, columns: _Columns) -> None:
        nameless: dict[str, list[str]] = defaultdict(list)
        for index, name in enumerate(columns.id):
            if not name:
                columns.id[index] = f"@{columns.handle[index]}"
                nameless[columns.layer[index]].append(columns.id[index])
        for layer, names in nameless.items():
            self._tell(
                "unlabelled-point",
                f"{_have(len(names))} no label and {'is' if len(names) == 1 else 'are'} called by "
                f"handle: {_some(names)}",
                Where(file=self._file, part=f"layer {layer}"),
            )

    def _tell_repeats(self, columns: _Columns) -> None:
        if len(set(columns.id)) == len(columns.id):
            return
        places: dict[str, set[tuple[float, ...]]] = defaultdict(set)
        for name, place in zip(columns.id, columns.xyz.tolist(), strict=True):
            places[name].add(tuple(place))
        repeated = [name for name, found in places.items() if len(found) > 1]
        if repeated:
            self._tell(
                "repeated-label",
                f"{len(repeated)} point number{'s' if len(repeated) > 1 else ''} stand at more "
                f"than one place: {_some(repeated)}. A check that uses one refuses it",
            )

    def _elevations(self, columns: _Columns) -> FloatArray:
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
            where = Where(file=self._file, part=f"layer {columns.layer[indices[0]]}")
            names = _some([columns.id[index] for index in zero])
            if len(zero) == len(indices):
                elevation[zero] = np.nan
                self._tell(
                    "no-elevation",
                    f"{'the one point has' if len(zero) == 1 else f'all {len(zero)} points have'} "
                    "height 0, which is taken as no elevation given",
                    where,
                )
            else:
                self._tell(
                    "zero-elevation",
                    f"of {len(indices)} points {len(zero)} "
                    f"{'has' if len(zero) == 1 else 'have'} height 0, which is kept as "
                    f"their elevation: {names}. Is it meant?",
                    where,
                )
        return elevation

    # Linework

    def _linework(self, figures: Sequence[Figure]) -> list[Polyline]:
        shown, vertices, left_out = [], 0, 0
        for figure in figures:
            inside = "/" in figure.handle
            if inside and vertices > MAX_BLOCK_VERTICES:
                left_out += 1
                continue
            vertices += len(figure.xyz_m) if inside else 0
            shown.append(figure)
        if left_out:
            self._tell(
                "linework-limit",
                f"the plan leaves out {left_out} lines inside blocks: there are more than "
                f"{MAX_BLOCK_VERTICES:,} vertices. Checks use all of them",
            )
        return outlines(shown, SAGITTA_M)

    def _tell_astray(self, tags: Sequence[Tag]) -> None:
        for tag in tags[:MAX_TOLD]:
            self._tell(
                "unreadable-entity",
                "is left out: some of its coordinates are no place on Earth",
                Where(file=self._file, part=str(tag)),
            )

    def _tell_without_length(self, without: Sequence[Tag]) -> None:
        by_layer: dict[str, list[str]] = defaultdict(list)
        for tag in without:
            by_layer[tag.layer].append(f"{tag.kind} handle {tag.handle}")
        for layer, names in by_layer.items():
            self._tell(
                "no-length",
                f"{len(names)} line{' has' if len(names) == 1 else 's have'} no length and no part "
                f"in any check: {_some(names)}",
                Where(file=self._file, part=f"layer {layer}"),
            )

    # Surfaces

    def _faces(self, model: Space, exploded: Exploded) -> Faces | None:
        quads = [np.array(model.quads, dtype=np.float64).reshape(-1, 4, 3)]
        if model.plain is not None:
            quads.insert(0, model.plain)
        quads += [placed for _, _, placed in exploded.quads]
        tags = [*model.quad_tags, *(tag for _, some, _ in exploded.quads for tag in some)]
        corners = np.concatenate(quads)
        astray = np.any(~(np.abs(corners) < COORDINATE_LIMIT), axis=(1, 2))
        if astray.any():
            self._tell_astray([tags[index] for index in np.flatnonzero(astray).tolist()])
            corners = corners[~astray]
            tags = [tag for tag, off in zip(tags, astray.tolist(), strict=True) if not off]
        found = faces_of(corners, tags, self._unit.metres)
        if found is None:
            return None
        if found.warped:
            self._tell(
                "warped-faces",
                f"{found.warped} of {found.quads} faces with four corners are not plane (by more "
                f"than {PLANE_M * 1000:g} mm); each was split along its shorter diagonal. Split "
                f"the other way the surface would differ by up to {found.worst_m:.3f} m, at "
                f"{found.worst}. Ask for triangles if that matters",
            )
        if found.crossed:
            self._tell(
                "crossed-face",
                f"{len(found.crossed)} faces with four corners cross themselves in plan and are "
                f"left out: {_some([str(tag) for tag in dict.fromkeys(found.crossed)])}. Their "
                "corners were perhaps picked in the wrong order",
            )
        for layer, count in found.triangles.dropped.items():
            self._tell(
                "flat-faces",
                f"{count} face{'s have' if count > 1 else ' has'} no area in plan (vertical, or "
                "corners in one line) and no part in the surface",
                Where(file=self._file, part=f"layer {layer}"),
            )
        if model.smoothed:
            self._tell(
                "smoothed-mesh",
                f"{len(model.smoothed)} meshes are shown smoother than their faces; the faces as "
                f"stored were read: {_some([str(tag) for tag in model.smoothed])}",
            )
        return found

    # What became of it all

    def _counts(
        self,
        model: Space,
        exploded: Exploded,
        used: set[int],
        destroyed: int,
        faces: Faces | None,
    ) -> list[EntityCount]:
        tally: Counter[tuple[str, str, str]] = Counter()

        def count(tags: Iterable[Tag], used_as: str) -> None:
            for (layer, kind), found in Counter(map(_LAYER_AND_KIND, tags)).items():
                tally[layer, kind, used_as] += found

        count(model.point_tags, _POINT)
        count((text.tag for text in model.texts if id(text) in used), _LABEL)
        count((text.tag for text in model.texts if id(text) not in used), _UNUSED)
        count((tag for tag, _ in model.curves), _LINEWORK)
        bare = faces.bare if faces else frozenset()
        count((tag for tag in model.surfaces if tag not in bare), _SURFACE)
        count((tag for tag in model.surfaces if tag in bare), _BARE)
        count(model.others, _UNUSED)
        count((tag for tag, _ in model.broken), _BROKEN)
        roles = dict.fromkeys(range(len(model.references)), _UNUSED)
        roles |= {root: _SURFACE for root, _, _ in exploded.quads}
        roles |= {root: _LINEWORK for root, _, _ in exploded.curves}
        roles |= {root: _LABEL for root, text in exploded.texts if id(text) in used}
        roles |= {point.root: _POINT for point in exploded.points}
        for root, reference in enumerate(model.references):
            count((reference.tag,), roles[root])
        if destroyed:
            tally["", "entity", "lost in mending: see the notices"] += destroyed
        for layer, kind in self._paper_space():
            tally[layer, kind, _PAPER] += 1
        return [
            EntityCount(layer=layer, kind=kind, count=number_, used_as=used_as)
            for (layer, kind, used_as), number_ in sorted(
                tally.items(), key=lambda item: (item[0][2] == _PAPER, item[0])
            )
        ]

    def _paper_space(self) -> list[tuple[str, str]]:
        found: list[tuple[str, str]] = []
        try:
            for layout in self._document.layouts:
                if layout.is_modelspace:
                    continue
                for entity in layout:
                    # The viewport of the sheet itself is no entity that anybody drew.
                    if entity.dxftype() == "VIEWPORT" and entity.dxf.get("id", 0) == 1:
                        continue
                    found.append((clean(str(entity.dxf.get("layer", "0"))), entity.dxftype()))
        except library_faults() as fault:
            self._tell("paper-space", f"paper space could not be counted: {clean(str(fault))}")
        return found

    def _tell_lost(self, counts: Sequence[EntityCount]) -> None:
        """Compare with a plain count of the file, so that nothing is lost in silence."""
        written = self._opened.written
        if written is None:
            return
        found = len(self._document.modelspace()) + len(self._opened.sieved or ())
        try:
            found += len(self._document.layouts.active_layout())
        except library_faults():
            found += sum(count.count for count in counts if count.used_as == _PAPER)
        if found < written:
            self._tell(
                "lost-entities",
                f"the file holds {written} entities in its ENTITIES section, of which "
                f"{written - found} could not be found again after reading; compare the counts "
                "with the drawing on the draughtsman's screen",
            )

    def _tell_blocks(self, exploded: Exploded) -> None:
        for block, count in exploded.missing.items():
            self._tell(
                "missing-block",
                f'block "{block}" is placed {_times(count)} but is not in the file; what it '
                "held is not read",
            )
        for block, path in exploded.external.items():
            self._tell(
                "external-reference",
                f'block "{block}" only refers to {path}; points in that drawing are not read. '
                "Bind it into the drawing, or name it in the job too",
            )
        for block, count in exploded.clipped.items():
            self._tell(
                "clipped-block",
                f'block "{block}" is shown clipped {_times(count)}; it was read whole, with what '
                "the clip hides",
            )
        for block, count in exploded.mirrored.items():
            self._tell(
                "mirrored-block",
                f'block "{block}" is placed mirrored {_times(count)}; its points were read where '
                "they are shown. Is it meant?",
            )
        for block, factor in exploded.scaled.items():
            self._tell(
                "scaled-block",
                f'block "{block}" is placed at another size (here {factor:.9g} times); its points '
                "were read where they are shown. Is it meant?",
            )
        for slug, found, words in (
            ("mirrored-lines", exploded.reversed_, "mirrored"),
            ("stretched-block", exploded.stretched, "longer one way than the other"),
        ):
            blocks = [name for name in found if name not in exploded.mirrored]
            if blocks:
                self._tell(
                    slug,
                    f"block{'s' if len(blocks) > 1 else ''} {_some(blocks)} "
                    f"{'are' if len(blocks) > 1 else 'is'} placed {words}, "
                    f"{_times(sum(found[name] for name in blocks))} in all; lines and faces were "
                    "read where they are shown. Is it meant?",
                )
        for block, count in exploded.groups.items():
            self._tell(
                "points-in-block",
                f'block "{block}" ({_times(count)}) holds several POINTs; they are the design '
                "points, and the attribute of the block is not used",
            )
        if exploded.unused:
            kinds: Counter[str] = Counter()
            for (_, kind), count in exploded.unused.items():
                kinds[kind] += count
            blocks = sorted({block for block, _ in exploded.unused})
            told = ", ".join(f"{count} {kind}" for kind, count in sorted(kinds.items()))
            self._tell("block-content", f"not used inside blocks {_some(blocks)}: {told}")

    def _tell_typed(self, model: Space) -> None:
        for tag, text, measured in model.typed[:MAX_TOLD]:
            self._tell(
                "dimension-text",
                f'the dimension reads "{text}", typed by hand, but measures {measured:.6g}; the '
                "line was perhaps not moved when the number was changed",
                Where(file=self._file, part=str(tag)),
            )
        if len(model.typed) > MAX_TOLD:
            self._tell(
                "dimension-text",
                f"{len(model.typed) - MAX_TOLD} more dimensions read otherwise than they measure",
            )

    def _tell_symbols(self, model: Space, exploded: Exploded, used: set[int]) -> None:
        """Tell of symbols that look like points, on layers with unused labels, but hold none."""
        holding = {point.root for point in exploded.points}
        layers = {
            text.tag.layer.casefold() for text in model.texts if text.lines and id(text) not in used
        }
        found: Counter[tuple[str, str]] = Counter()
        for root, reference in enumerate(model.references):
            block = self._block(reference.block)
            if root in holding or block is None or reference.tag.layer.casefold() not in layers:
                continue
            if block.space.size <= _SYMBOL_SIZE and not block.space.references:
                found[reference.tag.layer, reference.block] += 1
        for (layer, name), count in found.items():
            if count > 1:
                self._tell(
                    "symbol-without-point",
                    f'{count} references of block "{name}" are no design points: the block holds '
                    "no POINT, and the references carry no number as an attribute",
                    Where(file=self._file, part=f"layer {layer}"),
                )

    def _tell_layers(self, counts: Sequence[EntityCount]) -> None:
        used: Counter[str] = Counter()
        proxies = 0
        for count in counts:
            if count.used_as == _PAPER:
                continue
            used[count.layer] += count.count
            proxies += count.count if count.kind.startswith("ACAD_PROXY") else 0
        if proxies:
            self._tell(
                "proxy-entity",
                f"{proxies} entities belong to an add-on of the program that drew them and cannot "
                "be read; points among them are missing here. Explode them there and export again",
            )
        for layer, number_ in used.items():
            state = _layer_state(self._document, layer)
            if state:
                self._tell(
                    "hidden-layer",
                    f"the layer is {state} but was read all the same: {number_} entities",
                    Where(file=self._file, part=f"layer {layer}"),
                )

    def _tell_header(self, xyz: FloatArray, linework: Sequence[Polyline]) -> None:
        code, unit = self._opened.insunits, self._unit
        if code is None or code == 0:
            self._tell_no_unit(code, _extent(xyz, linework, unit.metres))
            return
        if code not in HEADER_UNITS:
            self._tell(
                "header-unit",
                f"the header gives unit code {code}, which the format does not define; "
                f"read as {_UNIT_WORDS[unit]}, as the job states",
            )
            return
        words, metres = HEADER_UNITS[code]
        if metres == unit.metres:
            return
        size = _extent(xyz, linework, unit.metres)
        if words in ("feet", "US survey feet") and unit is not LengthUnit.METRE:
            shift = float(np.max(np.abs(xyz[:, :2]))) * abs(metres - unit.metres) if len(xyz) else 0
            self._tell(
                "header-foot",
                f"the header says {words}, the job says {_UNIT_WORDS[unit]}; read as the job "
                "says. The two differ by 2 parts in a million of the coordinate: "
                f"{shift:.3f} m at the farthest point here",
            )
            return
        told = ""
        if size is not None:
            width, height = size
            told = (
                f" The site is {width * unit.metres:,.6g} m by {height * unit.metres:,.6g} m as "
                f"read; it would be {width * metres:,.6g} m by {height * metres:,.6g} m by the "
                "header."
            )
        self._tell(
            "header-unit",
            f"the header says {words}, the job says {_UNIT_WORDS[unit]}; read as the job says, "
            f"nothing is converted.{told} Ask which is meant if the size looks wrong",
        )

    def _tell_no_unit(self, code: int | None, size: tuple[float, float] | None) -> None:
        unit = self._unit
        told = ""
        if size is not None:
            width, height = size
            other = LengthUnit.FOOT if unit is LengthUnit.METRE else LengthUnit.METRE
            told = (
                " The site is "
                + "; it would be ".join(
                    f"{width * each.metres:,.6g} m by {height * each.metres:,.6g} m in "
                    f"{_UNIT_WORDS[each]}"
                    for each in (unit, other)
                )
                + "."
            )
        has = "has no unit" if code is None else 'says "no unit"'
        self._tell(
            "no-header-unit",
            f"the header {has}; read as {_UNIT_WORDS[unit]}, as the job states.{told} Ask which is "
            "meant if the size looks wrong",
        )

    def _tell(self, slug: str, message: str, where: Where | None = None) -> None:
        self._notices.append(
            Notice(slug=slug, where=where or Where(file=self._file), message=message)
        )


def _objects(values: Sequence[str]) -> "np.ndarray[tuple[int], np.dtype[np.object_]]":
    array = np.empty(len(values), dtype=np.object_)
    array[:] = values
    return array


def _some(names: Sequence[str]) -> str:
    shown = ", ".join(f'"{name}"' for name in names[:_SHOWN])
    return shown + (f" and {len(names) - _SHOWN} more" if len(names) > _SHOWN else "")


def _have(count: int) -> str:
    return f"{_points(count)} {'has' if count == 1 else 'have'}"


def _points(count: int) -> str:
    return "1 point" if count == 1 else f"{count} points"


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _is_decimal(text: str) -> bool:
    return not math.isnan(_decimal(text))


def _decimal(text: str) -> float:
    """Return a number written with decimals, NaN for any other text."""
    text = text.replace(",", ".", 1)
    return number(text) if "." in text else float("nan")


def _extent(
    xyz: FloatArray, linework: Sequence[Polyline], metres: float
) -> tuple[float, float] | None:
    """Return the width and height of the site in drawing units, None for an empty drawing."""
    if len(xyz) > 1:
        span = np.ptp(xyz[:, :2], axis=0)
    elif linework:
        span = np.ptp(np.concatenate([line.xy_m for line in linework]), axis=0) / metres
    else:
        return None
    return float(span[0]), float(span[1])


def _layer_state(document: "Document", layer: str) -> str:
    try:
        entry = document.layers.get(layer)
        words = [word for word, is_so in (
            ("frozen", entry.is_frozen()), ("off", entry.is_off()),
            ("never plotted", entry.dxf.get("plot", 1) == 0),
        ) if is_so]  # fmt: skip
    except library_faults():
        return ""
    return " and ".join(words)
