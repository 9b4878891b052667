"""What a diagnosis says: what was seen, what it would mean, where to look, what not to do.

Every sentence stands here, so that the methods page can list them with the evidence they need.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from checker.diagnose.closures import Closed
from checker.diagnose.search import Found
from checker.lengths import small_text
from checker.model.diagnosis import Cause
from checker.model.drawing import Notice
from checker.model.measure import Item
from checker.text import angle_words, fixed, signed
from checker.units import ARCSEC, M_PER_FOOT, LengthUnit

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
    "curb, wall or pipe.",
    "wrong-side": "Look on which side of the line the offset stakes stand.",
    "base-moved": "Compare the base's coordinates and height in that group with the others, and "
    "take one check shot.",
    "disturbed-mark": "Inspect the mark, and measure it again from two others.",
    "no-elevation": "Export the points again with their elevations.",
}
"""Where to look, by slug."""

DECIDES = {
    "foot-definition": "one coordinate of a control mark's data sheet, read in both feet",
    "unit-factor": "one taped distance between two stakes",
    "pole-height": "the height of the antenna in the raw file, or the pole itself",
    "height-constant": "one level run from a bench mark to a stake",
    "geoid-missing": "one check shot on a bench mark",
    "axes-swapped": "one pair of coordinates on the plan",
    "mirrored": "two stakes: on the ground, do their numbers run the other way round",
    "grid-ground": "one long distance measured on the ground, against the same one on the grid",
    "wrong-zone": "the zone that the receiver's job names",
    "rotation": "one shot on a mark far from the set-up",
    "frame-shift": "the frame that the correction service names",
    "shift": "one check shot on a control mark",
    "dropped-digits": "one full coordinate on the plan",
    "transposed-digits": "one new shot, or the first record of that number",
    "ids-exchanged": "the lath of one of the two",
    "stale-revision": "the sheet that the crew set from",
    "wrong-line": "one taped distance from a stake to the face",
    "wrong-side": "the side of the line on which one lath stands",
    "base-moved": "one check shot from the same base or session",
    "disturbed-mark": "one shot of the mark from another mark",
    "no-elevation": "one height in the raw file",
}
"""The one observation that would show whether it was this cause, by slug."""

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
    "transposed-digits": "two digits of a coordinate or of a reading exchanged",
    "ids-exchanged": "points that carry each other's number",
    "stale-revision": "stakes that follow an older design",
    "wrong-line": "stakes set on another line or face",
    "wrong-side": "offset stakes set on the other side",
    "base-moved": "a base or session that steps against the others",
    "disturbed-mark": "a control mark that has moved or was misread",
    "no-elevation": "heights that are missing, with a number in their place",
}
"""What a slug means, in words that fit behind "as with"."""


ONE = {
    "stale-revision": ("a stake that follows an older design", "that stake was set from"),
    "wrong-side": ("an offset stake set on the other side", "the offset stake stands"),
    "no-elevation": ("a height that is missing, with a number in its place", "its elevation"),
}
"""Of a single point: what the slug means, and the end of where to look."""
_MANY = {
    "stale-revision": "those stakes were set from",
    "wrong-side": "the offset stakes stand",
    "no-elevation": "their elevations",
}

SURE, UNSURE = "This looks like …", "This may be …; the evidence is thin."
"""What it would mean, and how sure that is."""
_THIN = 6.0
"""Nats below which a cause is no more than likely: 400 to 1 (our choice)."""

SIDE = {
    "marks": "Only known marks were measured: the measuring is in doubt, or the marks' own "
    "coordinates.",
    "control": "Only the check shots show it: the control's own coordinates are in doubt.",
    "unproved": "No check shot shows whether the design or the measuring is at fault: "
    "one shot on a control mark would decide it.",
    "unsure": "The check shots do not decide whether the design or the measuring is at fault.",
    "design": "The check shots agree with control, so the design or its import is in doubt.",
    "again": "Later shots were compared with the first of each mark: a third would show which of "
    "the two is right.",
    "measuring": "The check shots show it too, so the measuring is in doubt, not the design.",
}
"""On which side the fault lies, where it concerns all points."""

SAID = {
    "foot-definition": "off by …, 2 ppm of their own coordinates",
    "unit-factor": "at … times the design's …, as with a … taken for a …",
    "pole-height": "…, just what a pole of … entered as … gives",
    "height-constant": "… high, or … low",
    "geoid-missing": "… high, or … low",
    "axes-swapped": "at the design once its northings and eastings are exchanged",
    "mirrored": "at the design once its … are reversed, or at the design once it is mirrored about "
    "a line of azimuth …",
    "grid-ground": "scaled by … ppm against the design",
    "wrong-zone": "at the design's places in …",
    "rotation": "turned by … clockwise against the design, or turned by … counter-clockwise "
    "against the design",
    "frame-shift": "off by …, as with …",
    "shift": "off all the same way: …",
    "dropped-digits": "off by …, a round number of leading digits",
    "transposed-digits": "off by … in …, what two exchanged digits give",
    "ids-exchanged": "at each other's design points",
    "stale-revision": "off all the same way: …, or where … of the design puts them",
    "wrong-line": "… to the … of their line",
    "wrong-side": "… across their line, twice the offset",
    "base-moved": "off all the same way: …",
    "disturbed-mark": "disagrees with the others: …",
    "no-elevation": "… are …, exactly",
}
"""What is said to be seen, by slug; … stands for names and numbers."""

SAID_CLOSURE = "…: … would give the misclosure of … and leave … of it."
SAID_LEFT = "That alone would bring them from … to … (root mean square)."
SAID_SHAPE = "The distances within … hold: the shape is right, the place is wrong."
SAID_BESIDE = "It could as well be: … (to decide: …). To decide for the first: …."


SAID_AUDIT = "The audit of the drawing speaks for it: …"
SAID_GEOID = "The job names no geoid model."
_AUDIT = {
    "unit-factor": ("header-unit", "header-foot", "no-header-unit"),
    "foot-definition": ("header-foot",),
    "mirrored": ("mirrored-block", "mirrored-lines"),
    "grid-ground": ("scaled-block",),
    "no-elevation": ("zero-elevation", "no-elevation"),
    "dropped-digits": ("drawing-elsewhere",),
}
"""What of the drawings' audit speaks for a cause, by slug."""


def hints(blunder: str, notices: Sequence[Notice], geoid: str | None) -> tuple[str, ...]:
    """Return what the audit of the drawings, or what the job states, says for a cause."""
    speaks = [each for each in notices if each.slug in _AUDIT.get(blunder, ())]
    found = [SAID_AUDIT.replace("…", f"{speaks[0].message.rstrip('.')}.")] if speaks else []
    if blunder == "geoid-missing" and geoid is None:
        found.append(SAID_GEOID)
    return tuple(found)


def says(
    found: Found,
    unit: LengthUnit,
    *,
    proved: bool,
    again: bool = False,
    marks: bool = False,
    more: Sequence[str] = (),
) -> str:
    """Return the sentences of a diagnosis.

    proved: check shots stood beside the stakes, so that the design and the measuring can be told
    apart. again: later shots of marks were compared with the first ones. marks: nothing but known
    marks was measured. more: see `hints`.
    """
    seen = _seen(found.cause, unit)
    single = len(found.rows) == 1
    if single:
        seen = _of_one(seen)
    sentences = [f"{_subject(found, unit, marks=marks)} {seen}.", meant(found, single=single)]
    left = _left(found, unit)
    if left and not single:  # of one point it says again how far off that is
        sentences.append(left)
    side = SIDE["again"] if again else _side(found, proved=proved, marks=marks)
    if side:
        sentences.append(side)
    sentences += more
    if found.also:
        sentences.append(_beside(found.cause, found.also))
    sentences += (look(found.cause.blunder, single=single), NEVER)
    return " ".join(sentences)


def meant(found: Found, *, single: bool) -> str:
    """Return what a cause means, and how sure it is."""
    blunder = found.cause.blunder
    name = ONE[blunder][0] if single and blunder in ONE else NAMES[blunder]
    return (UNSURE if found.gain < _THIN else f"{SURE}.").replace("…", name)


def look(blunder: str, *, single: bool) -> str:
    """Return where to look; single: for one point."""
    if single and blunder in ONE:
        return LOOK[blunder].replace(_MANY[blunder], ONE[blunder][1]).replace("points", "point")
    return LOOK[blunder]


def _of_one(seen: str) -> str:
    """Return what was seen of several points as it is said of one."""
    for many, one in (
        ("are at each", "is at each"),
        ("are ", "is "),
        ("carry ", "carries "),
        ("of their line", "of its line"),
        ("across their line", "across its line"),
        ("of their own", "of its own"),
        ("puts them", "puts it"),
        ("off all the same way: ", "off by "),
    ):
        seen = one + seen.removeprefix(many) if seen.startswith(many) else seen.replace(many, one)
    return seen


def with_decision(cause: Cause) -> Cause:
    """Return a cause that cannot be told from another with what would decide."""
    return replace(cause, decides=DECIDES[cause.blunder])


def _other(cause: Cause) -> str:
    """Return a cause's name; of a zone with its code, since the first may be another zone."""
    crs = next((x.value for x in cause.parameter if x.key == "crs"), None)
    return NAMES[cause.blunder] + (f", {crs}" if isinstance(crs, str) else "")


def _beside(cause: Cause, also: Sequence[Cause]) -> str:
    """Return what cannot be told from a cause, each with the observation that would decide."""
    others = "; ".join(f"{_other(x)} (to decide: {DECIDES[x.blunder]})" for x in also)
    return f"It could as well be: {others}. To decide for the first: {DECIDES[cause.blunder]}."


LOOK_CLOSURE = "Look it up in the field book, and measure that one again: that decides."
"""Where to look when a misclosure has one cause."""


def says_closure(closed: Closed, unit: LengthUnit) -> str:
    """Return the sentences of a diagnosis of a misclosure."""

    def size(value: float) -> str:
        return angle_words(abs(value)) if closed.angular else _len(abs(value), unit)

    cause = closed.cause
    seen = _CLOSED[cause.blunder](cause, unit)
    found = f"{closed.check}: {closed.what} {seen} would give the misclosure of "
    found += f"{size(closed.before)} and leave {size(closed.after)} of it."
    sentences = [found, f"This looks like {NAMES[cause.blunder]}."]
    if closed.alike:
        sentences.append(f"The same of {', or '.join(closed.alike[:5])} would do as well.")
    if closed.also:
        sentences.append(_beside(cause, closed.also))
    return " ".join((*sentences, LOOK_CLOSURE, NEVER))


def says_no_elevation(count: int, whose: str, value: str) -> str:
    """Return the sentences of numbers that stand in place of elevations. whose: of which side."""
    slug, single = "no-elevation", count == 1
    name = ONE[slug][0] if single else NAMES[slug]
    seen = f"{count} of the {whose} {'is' if single else 'are'} {value}, exactly."
    return " ".join((seen, SURE.replace("…", f"{name}."), look(slug, single=single), NEVER))


def closure_support(closed: Closed) -> tuple[Item, ...]:
    """Return what speaks for the cause of a misclosure."""
    from checker.model.measure import Quantity

    kind, tail = (Quantity.ANGLE, "_deg") if closed.angular else (Quantity.LENGTH, "")
    rounded = round(closed.gain, 2)
    return (
        Item(key=f"misclosure{tail}", label="before", quantity=kind, value=closed.before),
        Item(key=f"misclosure_left{tail}", label="left", quantity=kind, value=abs(closed.after)),
        Item(key="log_odds", label="log odds", quantity=Quantity.NUMBER, value=rounded),
    )


def _subject(found: Found, unit: LengthUnit, *, marks: bool) -> str:
    part, count = found.part, len(found.rows)
    if found.cause.blunder == "disturbed-mark":
        return f"Control mark {found.ids[0]}"
    if found.ids:
        return _listed(found.ids)
    if part.by == "all":
        who = {"": "points", "design": "stakes, but not the check shots,", "control": "check shots"}
        if marks:
            who[""] = "shots of known marks"
        whom = who[part.value]
        return f"The one of the {whom}" if count == 1 else f"All {count} {whom}"
    what = f"of the group {part.value}" if part.by == "relative" else f"of {part.by} {part.value}"
    if part.by == "pole":
        what = f"with the pole at {part.value} {unit.short}"
    return f"The one point {what}" if count == 1 else f"All {count} points {what}"


def _listed(names: Sequence[str]) -> str:
    """Return some names as they stand in a sentence, six of them at most."""
    if len(names) > 6:
        return f"{', '.join(names[:6])} and {len(names) - 6} more"
    return " and ".join((", ".join(names[:-1]), names[-1])) if len(names) > 1 else names[0]


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
    return f"That alone would bring them {' and '.join(texts)} (root mean square)."


def _side(found: Found, *, proved: bool, marks: bool) -> str:
    if found.ids or found.cause.blunder in ("disturbed-mark", "no-elevation"):
        return ""
    if found.part.by != "all":
        return ""
    if found.part.value == "control":
        return SIDE["control"]
    if marks:
        return SIDE["marks"]
    if not proved:
        return SIDE["unproved"]
    if not found.sure_side:
        return SIDE["unsure"]
    return SIDE["design" if found.part.value == "design" else "measuring"]


def _len(value_m: float, unit: LengthUnit, *, sign: bool = False) -> str:
    return small_text(value_m, unit, plus=sign)


def _height(value_m: float, unit: LengthUnit) -> str:
    return f"{fixed(unit.from_metres(value_m), 3)} {unit.short}"


def _value(cause: Cause, key: str) -> float:
    for item in cause.parameter:
        if item.key == key and isinstance(item.value, float | int):
            return float(item.value)
    return 0.0


def _text(cause: Cause, key: str) -> str:
    return next((str(i.value) for i in cause.parameter if i.key == key and i.value is not None), "")


def _vector(cause: Cause, unit: LengthUnit) -> str:
    parts = []
    for key, plus, minus in (
        ("dn", "north", "south"),
        ("de", "east", "west"),
        ("dz", "high", "low"),
    ):
        value = _value(cause, key)
        size = _len(abs(value), unit)
        if any(digit in "123456789" for digit in size):
            parts.append(f"{size} {plus if value > 0 else minus}")
    return _listed(parts) if parts else "where they should be"


def _off(cause: Cause, unit: LengthUnit) -> str:
    return f"off all the same way: {_vector(cause, unit)}"


def _unit(cause: Cause, _unit: LengthUnit) -> str:
    what = "heights" if _text(cause, "axis") == "z" else "coordinates"
    return (
        f"at {fixed(_value(cause, 'factor'), 6)} times the design's {what}, as with a "
        f"{_text(cause, 'from')} taken for a {_text(cause, 'to')}"
    )


def _mirrored(cause: Cause, _unit: LengthUnit) -> str:
    axis = _text(cause, "axis")
    if axis == "line":
        azimuth = angle_words(_value(cause, "azimuth_deg"))
        return f"at the design once it is mirrored about a line of azimuth {azimuth}"
    return f"at the design once its {'northings' if axis == 'n' else 'eastings'} are reversed"


def _stale(cause: Cause, unit: LengthUnit) -> str:
    name = _text(cause, "revision")
    if not name:
        return _off(cause, unit)
    one = all(item.key != "one_vector" for item in cause.parameter)
    tail = f"; against this one {_vector(cause, unit)}" if one else ""
    return f"where {name} of the design puts them{tail}"


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
    angle = _value(cause, "angle_deg")
    same = any(item.key == "convergence_deg" for item in cause.parameter)
    way = "clockwise" if angle > 0 else "counter-clockwise"
    extra = ", which is the convergence of the grid here" if same else ""
    # A second turns a site of 200 m by a millimetre.
    size = angle_words(abs(angle), 1 if abs(angle) < 60.0 * ARCSEC else 0)
    return f"turned by {size} {way} against the design{extra}"


_SEEN: dict[str, Callable[[Cause, LengthUnit], str]] = {
    "foot-definition": lambda c, u: f"off by {_vector(c, u)}, 2 ppm of their own coordinates",
    "unit-factor": _unit,
    "pole-height": _pole,
    "height-constant": _dz,
    "geoid-missing": _dz,
    "axes-swapped": lambda _c, _u: "at the design once its northings and eastings are exchanged",
    "mirrored": _mirrored,
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
    "stale-revision": _stale,
    "wrong-line": lambda c, u: (
        f"{_len(abs(_value(c, 'across')), u)} to the "
        f"{'right' if _value(c, 'across') > 0 else 'left'} of their line"
    ),
    "wrong-side": lambda c, u: (
        f"{_len(abs(_value(c, 'across')), u)} across their line, twice the offset"
    ),
    "base-moved": _off,
    "disturbed-mark": lambda c, u: f"disagrees with the others: {_vector(c, u)}",
    "no-elevation": lambda c, u: f"carry {_height(_value(c, 'value'), u)} in place of an elevation",
}


_CLOSED: dict[str, Callable[[Cause, LengthUnit], str]] = {
    "unit-factor": lambda c, _u: (
        f"at {fixed(_value(c, 'factor'), 6)} times its value, a {_text(c, 'from')} taken for a "
        f"{_text(c, 'to')},"
    ),
    "transposed-digits": lambda c, u: (
        "with two digits exchanged"
        + (
            f", off by {_len(_value(c, 'difference'), u, sign=True)},"
            if any(item.key == "difference" for item in c.parameter)
            else f", off by {angle_words(_value(c, 'difference_deg'))},"
        )
    ),
    "dropped-digits": lambda c, u: f"off by a round number ({_vector(c, u)})",
    "axes-swapped": lambda _c, _u: "with northing and easting exchanged",
    "rotation": lambda c, u: f"{_turned(c, u).replace(' against the design', '')}",
    "grid-ground": lambda c, _u: f"scaled by {signed(_value(c, 'scale_ppm'), 1)} ppm",
    "pole-height": lambda c, u: (
        f"entered as {_len(_value(c, 'entered'), u)} that was {_len(_value(c, 'actual'), u)} long"
    ),
}
"""What a misclosure would rest on."""


def _seen(cause: Cause, unit: LengthUnit) -> str:
    text = _SEEN[cause.blunder](cause, unit)
    if cause.blunder in ("disturbed-mark", "no-elevation"):
        return text
    return f"are {text}"


def support(found: Found) -> tuple[Item, ...]:
    """Return what speaks for a diagnosis."""
    from checker.diagnose.hypothesis import length
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
