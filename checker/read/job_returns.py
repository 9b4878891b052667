"""[[curb_return]]: an arc that rounds off a corner, and how the shots along it lie to it."""

from checker.model.job import CurbReturn, Position
from checker.read.job_draft import Draft, needs_section, plan_of, positive
from checker.read.job_parts import measured_of, needs_measured, needs_tolerance, section_name
from checker.read.job_tolerances import tolerance_of
from checker.read.toml_tables import Table, is_short_number, quoted

_EXAMPLE = '{ layer = "C-RETURN" }'
_PLACE = "the number of a design point, or { n = ..., e = ... }"
_WAYS = (
    f'{_EXAMPLE}; or {{ tangents = [a, b, c, d], radius = "25 ft" }}; '
    'or { centre = a, radius = "25 ft", turn = "right", begin = b, end = c }'
)


def read_curb_return(draft: Draft, table: Table) -> None:
    """Read [[curb_return]]."""
    name = section_name(draft, table, "Curb return")
    needs_measured(draft, table)
    tolerance = tolerance_of(draft, table)
    needs_tolerance(table, tolerance)
    design = _Design(draft, table)
    levels = table.parsed_list("elevations", draft.length, "elevations, two or more")
    if table.has("elevations") and len(levels) == 1:
        table.fault(
            "bad-value",
            "elevations",
            f"{table.title}: elevations has one value",
            "state them evenly spaced along the arc: at its beginning, (middle,) and end",
        )
    draft.checks.append(
        CurbReturn(
            where=table.where,
            name=name,
            tolerance=tolerance,
            measured=measured_of(table),
            layers=design.layers,
            tangents=design.tangents,
            centre=design.centre,
            begin=design.begin,
            end=design.end,
            turns_right=design.turns_right,
            radius_m=design.radius_m,
            reversed=table.flag("reversed", default=False),
            elevation_m=levels,
            complete=table.flag("complete", default=True),
        )
    )


class _Design:
    """The design of a return as the job states it, in one of three ways."""

    def __init__(self, draft: Draft, table: Table) -> None:
        """Read the key design; every fault is reported."""
        self.layers: tuple[str, ...] = ()
        self.tangents: tuple[str | Position, ...] = ()
        self.centre: str | Position | None = None
        self.begin: str | Position | None = None
        self.end: str | Position | None = None
        self.turns_right = True
        self.radius_m = 0.0
        inner = table.table("design", _EXAMPLE)
        if inner is None:
            if not table.has("design"):
                table.missing("design", _WAYS)
            return
        ways = [key for key in ("layer", "tangents", "centre") if inner.has(key)]
        if len(ways) != 1:
            inner.fault(
                "conflicting-keys" if ways else "missing-key",
                ways[1] if ways else None,
                f"{inner.title} states the arc {'twice' if ways else 'in no way'}",
                f"write one of: {_WAYS}",
            )
        self.layers = inner.texts("layer", what="layer")
        if self.layers:
            needs_section(draft, table, "design", "a drawing", 'add [design] with drawing = "..."')
        self._tangents(draft, inner)
        self.centre = _place(draft, inner, "centre")
        self.begin, self.end = _place(draft, inner, "begin"), _place(draft, inner, "end")
        turn = inner.one_of("turn", {"right": True, "left": False})
        self.turns_right = turn is not False
        stated = inner.parsed("radius", draft.length, "a length greater than 0", accept=positive)
        self.radius_m = stated or 0.0
        self._complete(inner)
        inner.done()

    def _complete(self, inner: Table) -> None:
        """Report what the way that was chosen lacks, or has too much of."""
        needs = {"tangents": ("radius",), "centre": ("radius", "turn", "begin", "end")}
        why = {
            "radius": "the design radius",
            "turn": '"right" or "left", the sense in which the arc is run',
            "begin": f"where the arc begins: {_PLACE}",
            "end": f"where the arc ends: {_PLACE}",
        }
        wanted: set[str] = set()
        for way, keys in needs.items():
            if inner.has(way):
                wanted |= set(keys)
        for key, text in why.items():
            if key in wanted and not inner.has(key):
                inner.missing(key, text)
            elif key not in wanted and inner.has(key):
                inner.fault(
                    "conflicting-keys",
                    key,
                    f"{inner.title} has {key}, which does not belong to this way of stating an arc",
                    f"take it out, or write one of: {_WAYS}",
                )

    def _tangents(self, draft: Draft, inner: Table) -> None:
        if not inner.has("tangents"):
            return
        value = inner.data["tangents"]
        expected = f"four places: two of the line back, two of the line ahead; each {_PLACE}"
        if not isinstance(value, list) or len(value) != 4:
            inner.wrong("tangents", expected, value)
            return
        found = []
        for index, item in enumerate(value):
            place = _one_place(draft, inner, "tangents", item, index)
            if place is not None:
                found.append(place)
        if len(found) == 4:
            self.tangents = tuple(found)


def _place(draft: Draft, table: Table, key: str) -> str | Position | None:
    return _one_place(draft, table, key, table.data[key]) if table.has(key) else None


def _one_place(
    draft: Draft, table: Table, key: str, value: object, index: int | None = None
) -> str | Position | None:
    """Return a position, or the number of a design point."""
    if isinstance(value, dict):
        inner = table.within(key, value, index)
        n, e = plan_of(draft, inner)
        inner.done()
        if n is None or e is None:
            return None
        return Position(northing_m=n, easting_m=e, elevation_m=float("nan"))
    if isinstance(value, int) and is_short_number(value):
        return str(value)
    if isinstance(value, str) and value.strip() and value.isprintable():
        if "design" not in draft.top:
            table.fault(
                "missing-section",
                key,
                f"{table.title}: {key} is the design point {quoted(value)}, "
                "but there is no [design]",
                "add [design], or write { n = ..., e = ... }",
            )
        return value.strip()
    table.wrong(key, _PLACE, value, index=index)
    return None
