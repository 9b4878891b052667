"""What a diagnosis says: what was seen, what it would mean, where to look, what not to do.

Every sentence stands here, so that the methods page can list them with the evidence they need.
"""

from collections.abc import Callable

import numpy as np

from checker.diagnose.search import Found
from checker.model.diagnosis import Cause
from checker.model.measure import Item
from checker.text import fixed, signed
from checker.units import M_PER_FOOT, LengthUnit

LOOK = {
    "foot-definition": "Look up which foot each file, the project and the state's law mean.",
    "unit-factor": "Look at the units of the drawing and of the files before anything else.",
    "pole-height": "Measure the pole, read the setting in the raw file, or level one stake from a "
    "bench mark.",
    "height-constant": "Level one stake from a bench mark, and ask to which mark heights refer: "
    "datum, geoid model, top or flowline, height of the antenna.",
    "geoid-missing": "See whether the file holds ellipsoid heights, and which geoid model was set.",
    "axes-swapped": "See which column is the northing, in the file and in the import.",
    "mirrored": "Look for a mirrored block or a turned view in the drawing.",
    "grid-ground": "Ask for the combined factor, its origin and its direction, and compare one "
    "taped distance.",
    "wrong-zone": "Compare the zone in the receiver's job with the zone of the design.",
    "rotation": "Check the basis of bearings, the backsight, and whether the drawing was turned.",
    "frame-shift": "Compare the realization and epoch of the corrections with those of the design.",
    "shift": "Occupy a second independent control mark, and compare the base's coordinates and the "
    "drawing's origin with their sources.",
    "dropped-digits": "Compare one coordinate in the file with the same one on the plan.",
    "transposed-digits": "Read that coordinate again where it was typed.",
    "ids-exchanged": "Read the laths, and compare the numbers with the plan.",
    "stale-revision": "Find out which revision those stakes were set from.",
    "wrong-line": "Ask which line or face was staked, and compare the amount with the widths of "
    "kerb, wall or pipe.",
    "wrong-side": "Look on which side of the line the offset stakes stand.",
    "base-moved": "Compare the base's coordinates and height in that group with the others, and "
    "take one check shot.",
    "disturbed-mark": "Inspect the mark, and measure it again from two others.",
    "no-elevation": "Export the points again with their elevations.",
}
"""Where to look, by slug."""

NEVER = "Nothing was corrected; move no stake on this alone."
"""The end of every diagnosis."""

NAMES = {
    "foot-definition": "the US survey foot taken for the foot, or the reverse",
    "unit-factor": "one unit of length taken for another",
    "pole-height": "a pole at another length than the one entered",
    "height-constant": "all heights off by one amount",
    "geoid-missing": "ellipsoid heights taken for elevations",
    "axes-swapped": "northing and easting exchanged",
    "mirrored": "a mirrored drawing or block",
    "grid-ground": "a combined factor left out, doubled or inverted",
    "wrong-zone": "coordinates of another zone or projection",
    "rotation": "a wrong basis of bearings or backsight, or a turned drawing",
    "frame-shift": "another realization or epoch of the datum",
    "shift": "one and the same shift of every point, without a known cause",
    "dropped-digits": "leading digits cut off or added",
    "transposed-digits": "two digits of a coordinate exchanged",
    "ids-exchanged": "points that carry each other's number",
    "stale-revision": "stakes that follow an older design",
    "wrong-line": "stakes set on another line or face",
    "wrong-side": "offset stakes set on the other side",
    "base-moved": "a base or session that steps against the others",
    "disturbed-mark": "a control mark that has moved or was misread",
    "no-elevation": "heights that are missing, with a number in their place",
}
"""What a slug means, in words that fit behind "as with"."""


def says(found: Found, unit: LengthUnit, *, proved: bool) -> str:
    """Return the sentences of a diagnosis.

    proved: check shots stood beside the stakes, so that the design and the measuring can be told
    apart.
    """
    seen = _seen(found.cause, unit)
    if len(found.rows) == 1 and seen.startswith("are "):
        seen = f"is {seen.removeprefix('are ')}"
    sentences = [f"{_subject(found, unit)} {seen}."]
    sentences.append(f"This looks like {NAMES[found.cause.blunder]}.")
    left = _left(found, unit)
    if left:
        sentences.append(left)
    side = _side(found, proved=proved)
    if side:
        sentences.append(side)
    if found.also:
        others = "; ".join(NAMES[each.blunder] for each in found.also)
        sentences.append(f"The residuals cannot tell it from: {others}.")
    sentences.append(LOOK[found.cause.blunder])
    sentences.append(NEVER)
    return " ".join(sentences)


def _subject(found: Found, unit: LengthUnit) -> str:
    part, count = found.part, len(found.rows)
    if found.cause.blunder == "disturbed-mark":
        return f"Control mark {found.ids[0]}"
    if found.ids:
        return ", ".join(found.ids[:6]) + (" and others" if len(found.ids) > 6 else "")
    if part.by == "all":
        who = {"": "points", "design": "stakes, but not the check shots,", "control": "check shots"}
        return f"All {count} {who[part.value]}"
    what = f"of {part.by} {part.value}"
    if part.by == "pole":
        what = f"with the pole at {part.value} {unit.short}"
    return f"All {count} points {what}"


def _left(found: Found, unit: LengthUnit) -> str:
    """Return how the residuals shrink."""
    texts = []
    for word, before, after in zip(
        ("in plan", "in height"), found.before, found.after, strict=True
    ):
        if np.isfinite(before) and np.isfinite(after) and before - after > 0.2 * before:
            texts.append(f"from {_len(before, unit)} to {_len(after, unit)} {word}")
    if not texts:
        return ""
    return f"It alone would bring their root mean square {' and '.join(texts)}."


def _side(found: Found, *, proved: bool) -> str:
    if found.ids or found.cause.blunder in ("disturbed-mark", "no-elevation"):
        return ""
    if found.part.by == "all":
        if found.part.value == "control":
            return "Only the check shots show it: the control's own coordinates are in doubt."
        if not proved:
            return (
                "No check shot shows whether the design or the measuring is at fault: "
                "one shot on a control mark would decide it."
            )
        if not found.sure_side:
            return "The check shots do not decide whether the design or the measuring is at fault."
        if found.part.value == "design":
            return "The check shots agree with control, so the design or its import is in doubt."
        return "The check shots show it too, so the measuring is in doubt, not the design."
    return ""


def _len(value_m: float, unit: LengthUnit, *, sign: bool = False) -> str:
    number = unit.from_metres(value_m)
    text = signed(number, 3) if sign else fixed(number, 3)
    return f"{text} {unit.short}"


def _value(cause: Cause, key: str) -> float:
    for item in cause.parameter:
        if item.key == key and isinstance(item.value, float | int):
            return float(item.value)
    return 0.0


def _text(cause: Cause, key: str) -> str:
    return next((str(i.value) for i in cause.parameter if i.key == key and i.value is not None), "")


def _vector(cause: Cause, unit: LengthUnit) -> str:
    north, east, up = (_value(cause, key) for key in ("dn", "de", "dz"))
    parts = []
    for value, plus, minus in ((north, "north", "south"), (east, "east", "west")):
        if value:
            parts.append(f"{_len(abs(value), unit)} {plus if value > 0 else minus}")
    if up:
        parts.append(f"{_len(abs(up), unit)} {'high' if up > 0 else 'low'}")
    return " and ".join(parts) or "where they should be"


def _off(cause: Cause, unit: LengthUnit) -> str:
    return f"off by one vector: {_vector(cause, unit)}"


def _pole(cause: Cause, unit: LengthUnit) -> str:
    dz = _value(cause, "dz")
    entered, actual = _value(cause, "entered"), _value(cause, "actual")
    feet = abs(entered - actual * M_PER_FOOT) < 1e-6
    return (
        f"{_len(abs(dz), unit)} {'high' if dz > 0 else 'low'}, just what a pole of "
        f"{_len(actual, unit)} entered as {_len(entered, unit)} gives"
        + (f" ({actual:g} m keyed as {actual:g} ft)" if feet else "")
    )


def _dz(cause: Cause, unit: LengthUnit) -> str:
    dz = _value(cause, "dz")
    return f"{_len(abs(dz), unit)} {'high' if dz > 0 else 'low'}"


def _turned(cause: Cause, _unit: LengthUnit) -> str:
    angle = np.degrees(_value(cause, "angle_deg"))
    same = any(item.key == "convergence_deg" for item in cause.parameter)
    way = "clockwise" if angle > 0 else "counter-clockwise"
    extra = ", which is the convergence of the grid here" if same else ""
    return f"turned by {fixed(abs(angle), 5)} degrees {way} against the design{extra}"


_SEEN: dict[str, Callable[[Cause, LengthUnit], str]] = {
    "foot-definition": lambda c, u: f"off by {_vector(c, u)}, 2 ppm of their own coordinates",
    "unit-factor": lambda c, _u: (
        f"at {fixed(_value(c, 'factor'), 6)} times the design's coordinates, as with a "
        f"{_text(c, 'from')} taken for a {_text(c, 'to')}"
    ),
    "pole-height": _pole,
    "height-constant": _dz,
    "geoid-missing": _dz,
    "axes-swapped": lambda _c, _u: "at the design once its northings and eastings are exchanged",
    "mirrored": lambda c, _u: (
        f"at the design once its {'northings' if _text(c, 'axis') == 'n' else 'eastings'} "
        "are reversed"
    ),
    "grid-ground": lambda c, _u: (
        f"scaled by {signed(_value(c, 'scale_ppm'), 1)} ppm against the design"
    ),
    "wrong-zone": lambda c, _u: (
        f"at the design's places in {_text(c, 'crs') or 'another projection'}"
    ),
    "rotation": _turned,
    "frame-shift": lambda c, u: f"off by {_vector(c, u)}, as with {_text(c, 'frame')}",
    "shift": _off,
    "dropped-digits": lambda c, u: f"off by {_vector(c, u)}, a round number of leading digits",
    "transposed-digits": lambda c, u: (
        f"off by {_len(_value(c, 'difference'), u, sign=True)} in {_text(c, 'axis').upper()}, what "
        "two exchanged digits give"
    ),
    "ids-exchanged": lambda _c, _u: "at each other's design points",
    "stale-revision": _off,
    "wrong-line": lambda c, u: (
        f"{_len(abs(_value(c, 'across')), u)} to the "
        f"{'right' if _value(c, 'across') > 0 else 'left'} of their line"
    ),
    "wrong-side": lambda c, u: (
        f"{_len(abs(_value(c, 'across')), u)} across their line, twice the offset"
    ),
    "base-moved": _off,
    "disturbed-mark": lambda c, u: f"disagrees with the others: {_vector(c, u)}",
    "no-elevation": lambda c, u: f"carry {_len(_value(c, 'value'), u)} in place of an elevation",
}


def _seen(cause: Cause, unit: LengthUnit) -> str:
    text = _SEEN[cause.blunder](cause, unit)
    if cause.blunder in ("disturbed-mark", "no-elevation"):
        return text
    return f"are {text}"


def support(found: Found) -> tuple[Item, ...]:
    """Return what speaks for a diagnosis."""
    from checker.diagnose.causes import length
    from checker.model.measure import Quantity

    items = [Item(key="points", label="points", quantity=Quantity.COUNT, value=len(found.rows))]
    for key, value in (
        ("rms_horizontal_before", found.before[0]),
        ("rms_horizontal_after", found.after[0]),
        ("rms_z_before", found.before[1]),
        ("rms_z_after", found.after[1]),
    ):
        if np.isfinite(value):
            items.append(length(key, value))
    if np.isfinite(found.gain):
        items.append(
            Item(
                key="log_odds",
                label="log odds",
                quantity=Quantity.NUMBER,
                value=round(found.gain, 2),
            )
        )
    items.extend(found.halves)
    return tuple(items)
