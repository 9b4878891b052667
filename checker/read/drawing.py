"""Read a drawing: its design points, its linework for the plan, and all there is to say about it.

Every entity of model space is counted with what became of it. Coordinates are never converted by
what the file's header says: the job states the unit, and a header that says otherwise is told.
"""

from collections import defaultdict
from collections.abc import Sequence
from typing import Final

import numpy as np

from checker.errors import InputError, Problem, Where
from checker.model.drawing import Drawing, Figure, Polyline
from checker.model.job import Labels
from checker.model.points import Points, Quality
from checker.read.dxf_account import Account
from checker.read.dxf_blocks import Block, Exploded, explode
from checker.read.dxf_entities import COORDINATE_LIMIT, Space, Tag, gather
from checker.read.dxf_faces import PLANE_M, Faces, faces_of
from checker.read.dxf_figures import Drawn, figures_of, outlines
from checker.read.dxf_header import HEADER_UNITS, tell_header
from checker.read.dxf_notices import Notices, some
from checker.read.dxf_open import MAX_TOLD, Opened, library_faults, no_garbage, open_document
from checker.read.dxf_points import DesignPoints
from checker.read.dxf_text import clean
from checker.read.files import Source
from checker.units import LengthUnit

FIGURE_SAGITTA_M: Final = 0.001
"""What is no line or circular arc is checked as chords that stand off by no more than this."""
SAGITTA_M: Final = 0.01
"""Arcs in the plan are drawn as chords that stand off by no more than this."""
MAX_BLOCK_VERTICES: Final = 2_000_000
"""So many vertices of linework inside blocks are shown; points are never limited."""


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


class _Reader:
    def __init__(self, file: str, opened: Opened, unit: LengthUnit, labels: Labels) -> None:
        self._file = file
        self._opened = opened
        self._document = opened.document
        self._unit = unit
        self._labels = labels
        self._notices = Notices(file, opened.notices)
        self._account = Account(self._notices, opened)
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
        self._account.tell_content(model, exploded)
        design = DesignPoints(self._notices, self._unit, self._labels)
        columns, elevation, used = design.find(model, exploded)
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
        counts = self._account.counts(model, exploded, used, destroyed, faces)
        self._account.tell_layers(counts)
        self._account.tell_symbols(model, exploded, used, self._block)
        tell_header(self._notices, self._opened.insunits, self._unit, columns.xyz, linework)
        self._account.tell_lost(counts)
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
            notices=tuple(self._notices.all),
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
            part = inside + str(tag)
            if tag.kind in {"POINT", "INSERT"}:
                self._problems.append(
                    Problem(
                        slug="drawing-point",
                        where=Where(file=self._file, part=part),
                        message=f"this {tag.kind} cannot be placed: {said}",
                        hint="set it again where it was drawn, or erase it, and export again",
                    )
                )
            else:
                self._notices.tell(
                    "unreadable-entity", f"could not be read and is left out: {said}", part
                )

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
            self._notices.tell(
                "linework-limit",
                f"the plan leaves out {left_out} lines inside blocks: there are more than "
                f"{MAX_BLOCK_VERTICES:,} vertices. Checks use all of them",
            )
        return outlines(shown, SAGITTA_M)

    def _tell_astray(self, tags: Sequence[Tag]) -> None:
        for tag in tags[:MAX_TOLD]:
            self._notices.tell(
                "unreadable-entity",
                "is left out: some of its coordinates are no place on Earth",
                str(tag),
            )

    def _tell_without_length(self, without: Sequence[Tag]) -> None:
        by_layer: dict[str, list[str]] = defaultdict(list)
        for tag in without:
            by_layer[tag.layer].append(f"{tag.kind} handle {tag.handle}")
        for layer, names in by_layer.items():
            self._notices.tell(
                "no-length",
                f"{len(names)} line{' has' if len(names) == 1 else 's have'} no length and no part "
                f"in any check: {some(names)}",
                f"layer {layer}",
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
            self._notices.tell(
                "warped-faces",
                f"{found.warped} of {found.quads} faces with four corners are not plane (by more "
                f"than {PLANE_M * 1000:g} mm); each was split along its shorter diagonal. Split "
                f"the other way the surface would differ by up to {found.worst_m:.3f} m, at "
                f"{found.worst}. Ask for triangles if that matters",
            )
        if found.crossed:
            self._notices.tell(
                "crossed-face",
                f"{len(found.crossed)} faces with four corners cross themselves in plan and are "
                f"left out: {some([str(tag) for tag in dict.fromkeys(found.crossed)])}. Their "
                "corners were perhaps picked in the wrong order",
            )
        for layer, count in found.triangles.dropped.items():
            self._notices.tell(
                "flat-faces",
                f"{count} face{'s have' if count > 1 else ' has'} no area in plan (vertical, or "
                "corners in one line) and no part in the surface",
                f"layer {layer}",
            )
        if model.smoothed:
            self._notices.tell(
                "smoothed-mesh",
                f"{len(model.smoothed)} meshes are shown smoother than their faces; the faces as "
                f"stored were read: {some([str(tag) for tag in model.smoothed])}",
            )
        return found


def _objects(values: Sequence[str]) -> "np.ndarray[tuple[int], np.dtype[np.object_]]":
    array = np.empty(len(values), dtype=np.object_)
    array[:] = values
    return array
