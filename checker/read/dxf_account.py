"""What became of every entity of a drawing: counted, and told where it is odd or lost."""

import operator
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Final

from checker.model.drawing import EntityCount
from checker.read.dxf_blocks import Block, Exploded
from checker.read.dxf_entities import Space, Tag
from checker.read.dxf_faces import Faces
from checker.read.dxf_notices import Notices, some, times
from checker.read.dxf_open import MAX_TOLD, Opened, library_faults
from checker.read.dxf_text import clean

if TYPE_CHECKING:
    from ezdxf.document import Drawing as Document

_LAYER_AND_KIND = operator.attrgetter("layer", "kind")
_SYMBOL_SIZE: Final = 12
"""A block of at most so many entities may be a point's symbol."""
_POINT, _LABEL, _LINEWORK = "design point", "label", "linework"
_SURFACE, _BARE, _UNUSED = "surface triangle", "face without area: left out", "not used"
_BROKEN, _PAPER = "could not be read", "paper space: left out"


class Account:
    """Counts the entities of a drawing by what they were used as."""

    def __init__(self, notices: Notices, opened: Opened) -> None:
        """Take where to tell, and the drawing."""
        self._notices = notices
        self._opened = opened
        self._document = opened.document

    def tell_content(self, model: Space, exploded: Exploded) -> None:
        """Tell what is odd about blocks and dimensions."""
        self._tell_blocks(exploded)
        self._tell_typed(model)

    def counts(
        self,
        model: Space,
        exploded: Exploded,
        used: set[int],
        destroyed: int,
        faces: Faces | None,
    ) -> list[EntityCount]:
        """Return what became of the entities of model space and paper space.

        used: identities of the texts that number points. destroyed: how many were lost in mending.
        """
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
            self._notices.tell(
                "paper-space", f"paper space could not be counted: {clean(str(fault))}"
            )
        return found

    def tell_lost(self, counts: Sequence[EntityCount]) -> None:
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
            self._notices.tell(
                "lost-entities",
                f"the file holds {written} entities in its ENTITIES section, of which "
                f"{written - found} could not be found again after reading; compare the counts "
                "with the drawing on the draughtsman's screen",
            )

    def _tell_blocks(self, exploded: Exploded) -> None:
        for block, count in exploded.missing.items():
            self._notices.tell(
                "missing-block",
                f'block "{block}" is placed {times(count)} but is not in the file; what it '
                "held is not read",
            )
        for block, path in exploded.external.items():
            self._notices.tell(
                "external-reference",
                f'block "{block}" only refers to {path}; points in that drawing are not read. '
                "Bind it into the drawing, or name it in the job too",
            )
        for block, count in exploded.clipped.items():
            self._notices.tell(
                "clipped-block",
                f'block "{block}" is shown clipped {times(count)}; it was read whole, with what '
                "the clip hides",
            )
        for block, count in exploded.mirrored.items():
            self._notices.tell(
                "mirrored-block",
                f'block "{block}" is placed mirrored {times(count)}; its points were read where '
                "they are shown. Is it meant?",
            )
        for block, factor in exploded.scaled.items():
            self._notices.tell(
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
                self._notices.tell(
                    slug,
                    f"block{'s' if len(blocks) > 1 else ''} {some(blocks)} "
                    f"{'are' if len(blocks) > 1 else 'is'} placed {words}, "
                    f"{times(sum(found[name] for name in blocks))} in all; lines and faces were "
                    "read where they are shown. Is it meant?",
                )
        for block, count in exploded.groups.items():
            self._notices.tell(
                "points-in-block",
                f'block "{block}" ({times(count)}) holds several POINTs; they are the design '
                "points, and the attribute of the block is not used",
            )
        if exploded.unused:
            kinds: Counter[str] = Counter()
            for (_, kind), count in exploded.unused.items():
                kinds[kind] += count
            blocks = sorted({block for block, _ in exploded.unused})
            told = ", ".join(f"{count} {kind}" for kind, count in sorted(kinds.items()))
            self._notices.tell("block-content", f"not used inside blocks {some(blocks)}: {told}")

    def _tell_typed(self, model: Space) -> None:
        for tag, text, measured in model.typed[:MAX_TOLD]:
            self._notices.tell(
                "dimension-text",
                f'the dimension reads "{text}", typed by hand, but measures {measured:.6g}; the '
                "line was perhaps not moved when the number was changed",
                str(tag),
            )
        if len(model.typed) > MAX_TOLD:
            self._notices.tell(
                "dimension-text",
                f"{len(model.typed) - MAX_TOLD} more dimensions read otherwise than they measure",
            )

    def tell_symbols(
        self,
        model: Space,
        exploded: Exploded,
        used: set[int],
        block_named: Callable[[str], Block | None],
    ) -> None:
        """Tell of symbols that look like points, on layers with unused labels, but hold none."""
        holding = {point.root for point in exploded.points}
        layers = {
            text.tag.layer.casefold() for text in model.texts if text.lines and id(text) not in used
        }
        found: Counter[tuple[str, str]] = Counter()
        for root, reference in enumerate(model.references):
            block = block_named(reference.block)
            if root in holding or block is None or reference.tag.layer.casefold() not in layers:
                continue
            if block.space.size <= _SYMBOL_SIZE and not block.space.references:
                found[reference.tag.layer, reference.block] += 1
        for (layer, name), count in found.items():
            if count > 1:
                self._notices.tell(
                    "symbol-without-point",
                    f'{count} references of block "{name}" are no design points: the block holds '
                    "no POINT, and the references carry no number as an attribute",
                    f"layer {layer}",
                )

    def tell_layers(self, counts: Sequence[EntityCount]) -> None:
        """Tell of hidden layers with content, and of what only an add-on could read."""
        used: Counter[str] = Counter()
        proxies = 0
        for count in counts:
            if count.used_as == _PAPER:
                continue
            used[count.layer] += count.count
            proxies += count.count if count.kind.startswith("ACAD_PROXY") else 0
        if proxies:
            self._notices.tell(
                "proxy-entity",
                f"{proxies} entities belong to an add-on of the program that drew them and cannot "
                "be read; points among them are missing here. Explode them there and export again",
            )
        for layer, number_ in used.items():
            state = _layer_state(self._document, layer)
            if state:
                self._notices.tell(
                    "hidden-layer",
                    f"the layer is {state} but was read all the same: {number_} entities",
                    f"layer {layer}",
                )


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
