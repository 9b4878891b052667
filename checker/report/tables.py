"""Tables of findings: whole columns of escaped cells, joined row by row.

What the columns are is settled for the table as a whole. Its cells are made when a page of it is
written, a column at a time and joined by one pattern a row: a hundred thousand rows are never held
as text.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from markupsafe import Markup

from checker.model.arrays import BoolArray, IntArray
from checker.model.finding import Verdict
from checker.model.measure import Column, Quantity
from checker.report import svg
from checker.report.escape import escape, escape_all
from checker.report.lath import lath_texts
from checker.report.numbers import LENGTH_DECIMALS
from checker.report.rows import Rows, batches
from checker.report.show import chances, column_texts, column_unit, percents
from checker.report.words import called
from checker.text import MISSING, fixed, show_failure, stated_decimals

PAGE_ROWS = 2000
"""Rows of a table page at most."""
_UPRIGHT = 9
"""So many columns behind the first ones fit an upright sheet."""
_POINT_ORDER = (
    *("dn", "de", "horizontal", "along", "across", "dz", "cut_fill"),
    *("", "station", "offset", "sigma_h", "sigma_z", "p_within"),
)
"""Columns of a comparison of points; "" is where what was found stands."""
_TALL = 60
"""Tables of more rows scroll in a window of their own, so that their heading stays in sight."""
_POINT_KINDS = ("stakeout", "control")
_PLACES = (
    *("design_n", "design_e", "design_z", "measured_n", "measured_e", "measured_z", "description"),
    *("first_id", "first_n", "first_e", "first_z", "later_id", "later_n", "later_e", "later_z"),
    "shared",
    *("invert_upper", "invert_lower", "design_upper", "design_lower", "dz_upper", "dz_lower"),
)
"""Columns of the second table, which says where things are; the first says how far off."""
_X = ' class="x"'
_ROOM = 11
"""So many columns behind the first ones fit the page; a wider table gives its places away."""
_ORDERS = {
    "surface": ("dz", "cut_fill", "", "design_z", "measured_z", "slope", "sigma_z", "p_within"),
    "relative": ("design_distance", "measured_distance", "d_distance", "dz", ""),
    "plane": ("residual", "slope_measured", "slope_design", "d_slope", ""),
    "pipe": ("what", "length", "fall", "grade_measured", "grade_design", "d_grade", ""),
    "stakeout": _POINT_ORDER,
    "control": _POINT_ORDER,
    "repeats": ("dn", "de", "horizontal", "dz", "apart_h", "", "sigma_h", "sigma_z", "p_within"),
}
"""Per kind, the columns that come first; what is no detail follows."""
_NOT_SHOWN = frozenset({("slope_stake", "dn"), ("slope_stake", "de")})
"""What the files give and a page has no room for: kind and key."""
_LIMIT_OF = {
    "horizontal": ("horizontal", 1),
    "along": ("along", 1),
    "across": ("across", 1),
    "dz": ("vertical", 1),
    "cut_fill": ("vertical", 1),
    "d_distance": ("distance", 1),
    "residual": ("vertical", 1),
    "d_fall": ("elevation", 1),
    "lean": ("plumb", 1),
    "d_radius": ("radius", 1),
}
"""Which limit a column is compared with."""
_GRADE_LIMIT_OF = {
    "d_grade": "slope",
    "d_slope": "slope",
    "grade_measured": "grade",
    "slope_measured": "grade",
}
"""The same for slopes, whose limits are told beside the table."""
_KNOWN_TO = ("σ plan", "σ height", "P within")
"""Labels of columns that say how well a row is known."""
_REASON_FIRST = ("",)
"""Kinds without an order of their own say first what was found: their tables may be wide."""
_ROW_NAMES = {
    "traverse": "Station",
    "network": "Station",
    "vectors": "Loop",
    "figure": "Course",
    "relative": "Pair",
    "pipe": "Run",
}
"""What a row of a check is."""
_SHORT = {
    "horizontal": "Plan",
    "sigma_h": "σ plan",
    "sigma_z": "σ height",
    "p_within": "P within",
    "cut_fill": "Cut / fill",
    "design_n": "Design N",
    "design_e": "Design E",
    "design_z": "Design Z",
    "measured_n": "Measured N",
    "measured_e": "Measured E",
    "measured_z": "Measured Z",
    "dn": "ΔN",
    "de": "ΔE",
    "dz": "ΔZ",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shown:
    """A column of the page: heading, unit or limit below it; cells: of some rows, escaped."""

    label: str
    note: str
    cells: Callable[[Rows], list[str]]
    text: bool = False
    sort: str = "number"


@dataclass(frozen=True, slots=True, kw_only=True)
class TablePage:
    """A part of a check's table. first, last: ids of its rows.

    draw, draw_places: make the table, and the second one, of coordinates; None where there is none.
    """

    number: int
    count: int
    first: str
    last: str
    rows: int
    draw: Callable[[], str]
    draw_places: Callable[[], str] | None

    @property
    def html(self) -> Markup:
        """The table, made anew each time."""
        return Markup(self.draw())  # noqa: S704  (ids and cells are escaped)

    @property
    def places(self) -> Markup:
        """The table of coordinates, made anew each time; empty where there is none."""
        return Markup(self.draw_places() if self.draw_places else "")  # noqa: S704  (the same)


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A check's whole table.

    empty: labels of columns in which no row has anything. wide: too wide for an upright sheet.
    names: ids of the elements, without the number of the part. cut: only the worst rows are in it.
    """

    pages: tuple[TablePage, ...]
    empty: tuple[str, ...]
    filters: bool
    wide: bool
    names: tuple[str, ...]
    cut: bool


def check_table(
    rows: Rows, most: int | None = None, *, places: bool = True, sigmas: bool = True
) -> Table:
    """Return the table of a check, in pages; of points, their coordinates in a second one.

    most: how many rows it holds at most, the worst first, in one page; None: all, as they stand.
    places, sigmas: False leaves the coordinates out, and what says how well they are known.
    """
    chosen = rows_of_kind(rows, "station")
    if chosen is not None:
        return _kind_table(rows, chosen, most)
    columns, empty = _columns(rows)
    where = _places(rows, columns)
    if not places:
        where = []
    if not sigmas:
        columns = [column for column in columns if column.label not in _KNOWN_TO]
    parts = list(batches(len(rows), PAGE_ROWS))
    worst = None
    if most is not None and most < len(rows):
        worst = np.lexsort((-np.nan_to_num(rows.share, nan=-1.0), rows.kind))[:most]
        parts = [range(most)]
    pages = []
    for number, part in enumerate(parts, 1):
        end = f"-{number}" if number > 1 else ""
        caption = _caption(rows, part, number, len(parts))
        which = slice(part.start, part.stop) if worst is None else worst
        ids = rows.ids[which]
        pages.append(
            TablePage(
                number=number,
                count=len(parts),
                first=str(ids[0]) if len(part) else "",
                last=str(ids[-1]) if len(part) else "",
                rows=len(part),
                draw=partial(_draw, rows, which, columns, f"{rows.key}-table{end}", caption),
                draw_places=partial(_draw_places, rows, which, where, f"{rows.key}-places{end}")
                if where
                else None,
            )
        )
    names = (f"{rows.key}-table", f"{rows.key}-places") if where else (f"{rows.key}-table",)
    return Table(
        pages=tuple(pages),
        empty=empty,
        filters=rows.by_row and len(rows) > 8,
        wide=len(columns) > (_UPRIGHT if sigmas else _ROOM),
        names=names,
        cut=most is not None and most < len(rows),
    )


def rows_of_kind(rows: Rows, kind: str) -> IntArray | None:
    """Return the rows of one kind of a network, whose rows are stations and observations.

    None for every other check, whose rows are all alike.
    """
    if rows.finding.measure.kind != "network":
        return None
    return np.flatnonzero(np.array(rows.texts("kind")) == kind)


def kind_table(rows: Rows, which: IntArray, name: str, what: str) -> str:
    """Return a table of some rows of a network, with the columns that these have."""
    columns, _ = _columns(rows.part(which))
    unit = rows.outside.words
    caption = f"{escape(called(rows.finding))}: {len(which):,} {what}, lengths in {unit}."
    columns = [column for column in columns if column.label != "Row"]
    table = _draw(rows, which, columns, name, caption)
    # The first column holds what the rows are: a check's own word for them is "station".
    return table if what == "stations" else table.replace(">Station</th>", ">Observation</th>", 1)


def _kind_table(rows: Rows, chosen: IntArray, most: int | None) -> Table:
    """Return the table of a network's stations, in pages."""
    kept = chosen if most is None else chosen[:most]
    pages = []
    parts = list(batches(len(kept), PAGE_ROWS))
    for number, part in enumerate(parts, 1):
        end = f"-{number}" if number > 1 else ""
        which = kept[part.start : part.stop]
        pages.append(
            TablePage(
                number=number,
                count=len(parts),
                first=str(rows.ids[which[0]]) if len(which) else "",
                last=str(rows.ids[which[-1]]) if len(which) else "",
                rows=len(which),
                draw=partial(kind_table, rows, which, f"{rows.key}-table{end}", "stations"),
                draw_places=None,
            )
        )
    return Table(
        pages=tuple(pages),
        empty=(),
        filters=False,
        wide=False,
        names=(f"{rows.key}-table",),
        cut=len(kept) < len(chosen),
    )


def _draw(
    rows: Rows, which: IntArray | slice, columns: Sequence[_Shown], name: str, caption: str
) -> str:
    """Return the table of some rows."""
    part = rows.part(which)
    anchors = escape_all(part.anchor)
    lead: list[Sequence[str]] = [anchors, anchors, escape_all(part.ids.tolist())]
    if rows.by_row:
        lead.insert(1, _kinds(part))
        lead += [_tags(part), percents(part.share)]
    pattern = _pattern(rows, columns)
    cells = (column.cells(part) for column in columns)
    body = [pattern % each for each in zip(*lead, *cells, strict=True)]
    look = "data sortable judged" if rows.by_row else "data sortable"
    return _table(name, look, caption, _head(rows, columns), body)


def _draw_places(rows: Rows, which: IntArray | slice, columns: Sequence[_Shown], name: str) -> str:
    """Return the table of the coordinates of some rows."""
    part = rows.part(which)
    row = '<tr data-k="%s"><th scope="row"><a href="#%s">%s</a></th>'
    row += "".join(_cell(column) for column in columns) + "</tr>\n"
    lead = (_kinds(part), escape_all(part.anchor), escape_all(part.ids.tolist()))
    cells = (column.cells(part) for column in columns)
    body = [row % each for each in zip(*lead, *cells, strict=True)]
    caption = f"{escape(called(rows.finding))}: places, in {rows.outside.unit.words}."
    return _table(name, "data sortable places", caption, _places_head(rows, columns), body)


def _kinds(rows: Rows) -> list[str]:
    return [svg.KINDS[kind] for kind in rows.kind.tolist()]


def scroller(rows: int) -> str:
    """Return the classes of what a table scrolls in: up and down too where it is long."""
    return "scroll tall" if rows > _TALL else "scroll"


def _table(name: str, look: str, caption: str, head: str, body: Sequence[str]) -> str:
    return (
        f'<div class="{scroller(len(body))}" tabindex="0" role="region" '
        f'aria-labelledby="{name}-cap">'
        f'<table class="{look}" id="{name}"><caption id="{name}-cap"><span>{caption}</span>'
        f"</caption>{head}<tbody>{''.join(body)}</tbody></table></div>"
    )


def _places(rows: Rows, columns: list[_Shown]) -> list[_Shown]:
    """Return the columns of the second table, and take them from the first where they stand."""
    point = rows.finding.measure.kind in _POINT_KINDS
    if not point and len(columns) <= _ROOM:
        return []
    by_key = {column.key: column for column in rows.finding.measure.columns}
    made = {key: _shown(by_key[key], rows) for key in _PLACES if key in by_key}
    places = [column for column in made.values() if column is not None]
    labels = {column.label for column in places}
    columns[:] = [column for column in columns if column.label not in labels]
    return places


def _cell(column: _Shown) -> str:
    return '<td class="x">%s</td>' if column.text else "<td>%s</td>"


def _places_head(rows: Rows, places: Sequence[_Shown]) -> str:
    cells = "".join(
        f'<th scope="col" data-sort="{column.sort}"{_X if column.text else ""}>'
        f"{escape(column.label)}{f' <small>{escape(column.note)}</small>' if column.note else ''}"
        "</th>"
        for column in places
    )
    name = _ROW_NAMES.get(rows.finding.measure.kind, "Point")
    return f'<thead><tr><th scope="col" data-sort="text" class="x">{name}</th>{cells}</tr></thead>'


def rows_text(count: int) -> str:
    """Return how many rows there are, in words."""
    return f"{count:,} row" if count == 1 else f"{count:,} rows"


def _caption(rows: Rows, part: range, number: int, count: int) -> str:
    name = escape(called(rows.finding))
    unit = rows.outside.words
    text = f"{name}: {rows_text(len(rows))}, lengths in {unit}"
    if count == 1 and len(part) < len(rows):
        text += f"; the worst {len(part):,} are shown here, all stand in results.csv"
    if count > 1:
        text += f"; part {number} of {count}, rows {part.start + 1:,} to {part.stop:,}"
    return text + "."


def _columns(rows: Rows) -> tuple[list[_Shown], tuple[str, ...]]:
    """Return the columns to show and the labels of those that are empty."""
    measure = rows.finding.measure
    by_key = {column.key: column for column in measure.columns}
    order = _ORDERS.get(measure.kind, _REASON_FIRST)
    if measure.kind not in _POINT_KINDS:
        rest = tuple(column.key for column in measure.columns if not column.detail)
        judged = ("p_within", "") if measure.judged_by_row else ()
        order = tuple(dict.fromkeys((*order, *rest, *judged)))
    shown: list[_Shown] = []
    empty: list[str] = []
    for key in order:
        if (measure.kind, key) in _NOT_SHOWN:
            continue
        if key == "" and rows.by_row:
            shown += _found(rows)
        elif key == "p_within" and "p_within" not in by_key:
            if np.isfinite(rows.finding.p_within).any():
                shown.append(_probability())
            elif rows.by_row:
                empty.append(_SHORT[key])
        elif key in by_key and (measure.kind, key) != ("control", "cut_fill"):
            column = by_key[key]
            made = _shown(column, rows)
            if made is None:
                empty.append(_SHORT.get(key, column.label))
            else:
                shown.append(made)
    return shown, tuple(empty)


def _found(rows: Rows) -> list[_Shown]:
    """Return the column of reasons; none where nothing was found."""
    if rows.counted.all() and not any(rows.finding.row_reason.tolist()):
        return []
    return [_Shown(label="What was found", note="", cells=_reasons, text=True, sort="text")]


def _reasons(rows: Rows) -> list[str]:
    reasons = escape_all(rows.finding.row_reason.tolist())
    if not rows.finding.measure.counted.all():
        aside = ~rows.counted
        old = rows.flags("superseded")
        for row in np.flatnonzero(aside).tolist():
            note = "superseded by a later shot" if old[row] else "listed, not counted"
            if note not in reasons[row]:
                reasons[row] = f"{reasons[row]}; {note}" if reasons[row] else note
    return reasons


def _probability() -> _Shown:
    return _Shown(
        label=_SHORT["p_within"],
        note="",
        cells=lambda part: escape_all(chances(part.finding.p_within)),
    )


def _shown(column: Column, rows: Rows) -> _Shown | None:
    """Return a column as shown, or None where no row has a value."""
    key, quantity = column.key, column.quantity
    label = _SHORT.get(key, column.label)
    if rows.finding.measure.kind == "control":
        label = label.replace("Design", "Known")
    if quantity in (Quantity.TEXT, Quantity.FLAG):
        if not any(_words(column)):
            return None
        return _Shown(
            label=label,
            note="",
            cells=lambda part: escape_all(_words(part.finding.measure.column(key))),
            text=True,
            sort="text",
        )
    if not np.isfinite(column.values.astype(np.float64)).any():
        return None
    unit = column_unit(quantity, key, rows.outside)
    if quantity is Quantity.CUT_FILL:
        return _Shown(label=label, note=unit, cells=partial(_lath_cells, key), sort="lath")
    if key in _LIMIT_OF and rows.by_row:
        unit = _with_limit(unit, rows, _limit_of(key, rows))
    sort = "angle" if quantity is Quantity.ANGLE else "number"
    return _Shown(label=label, note=unit, cells=partial(_number_cells, key), sort=sort)


def _words(column: Column) -> list[str]:
    """Return a column of texts or flags as text."""
    if column.quantity is Quantity.FLAG:
        return ["yes" if value else "" for value in column.values.tolist()]
    return ["" if value is None else str(value) for value in column.values.tolist()]


def _limit_of(key: str, rows: Rows) -> str:
    """Return which limit a column is judged by."""
    if key == "dz" and rows.finding.measure.kind == "relative":
        return "elevation"
    return _LIMIT_OF[key][0]


def _lath_cells(key: str, rows: Rows) -> list[str]:
    values = rows.finding.measure.column(key).values.astype(np.float64)
    cells = [text or MISSING for text in lath_texts(rows.finding, values, rows.outside)]
    _stress(cells, rows, "vertical")
    return cells


def _number_cells(key: str, rows: Rows) -> list[str]:
    column = rows.finding.measure.column(key)
    values = column.values.astype(np.float64)
    cells = escape_all(column_texts(column.quantity, key, values, rows.outside))
    if key in _LIMIT_OF and rows.by_row:
        limit = _limit_of(key, rows)
        whole = rows.outside.on_page(column.quantity, key) is None
        _tell_apart(cells, rows, limit, whole=whole)
        _stress(cells, rows, limit)
    elif key in _GRADE_LIMIT_OF and rows.by_row:
        _stress(cells, rows, _GRADE_LIMIT_OF[key])
    return cells


def _failing(rows: Rows, limit: str) -> BoolArray:
    judgement = rows.judgement(limit)
    if judgement is None or not rows.by_row:
        return np.zeros(len(rows), dtype=np.bool_)
    failing: BoolArray = judgement.verdict == Verdict.OUTSIDE
    return failing


def _tell_apart(cells: list[str], rows: Rows, limit: str, *, whole: bool) -> None:
    """Give a failure one more digit where it would print as its limit does.

    whole: the cells are in the job's unit.
    """
    judgement = rows.judgement(limit)
    failing = np.flatnonzero(_failing(rows, limit))
    if judgement is None:
        return
    decimals = LENGTH_DECIMALS if whole else rows.outside.small.decimals
    shown = rows.outside.unit.from_metres if whole else rows.outside.smalls
    for row in failing.tolist():
        found = judgement.value[row : row + 1]
        bounds = judgement.upper if found[0] >= 0 else judgement.lower
        bound = np.broadcast_to(bounds, len(rows))[row : row + 1]
        value, most = (float(shown(each)[0]) for each in (found, bound))
        if np.isfinite(most) and fixed(abs(value), decimals) == fixed(abs(most), decimals):
            sign = "−" if value < 0 else "+" if cells[row].startswith("+") else ""
            cells[row] = sign + show_failure(abs(value), abs(most), decimals)[0]


def _stress(cells: list[str], rows: Rows, limit: str) -> None:
    for row in np.flatnonzero(_failing(rows, limit)).tolist():
        cells[row] = f'<b class="over">{cells[row]}</b>'


def _with_limit(unit: str, rows: Rows, limit: str) -> str:
    """Return the heading's note: unit, and the limit where all rows share it."""
    scale = rows.outside.small
    small = unit == scale.unit
    of, least = (rows.small_limit, scale.decimals) if small else (rows.limit, LENGTH_DECIMALS)
    above, below = of(limit, 1), of(limit, -1)
    up = np.unique(above[np.isfinite(above)])
    down = np.unique(below[np.isfinite(below)])
    if len(up) > 1 or len(down) > 1:
        return f"{unit}, limits differ"
    # both sides with the digits of the one that was stated with more
    decimals = max((stated_decimals(float(each), least) for each in (*up, *down)), default=least)
    high = fixed(float(up[0]), decimals) if len(up) else ""
    low = fixed(float(down[0]), decimals) if len(down) else ""
    if high and low and high != low:
        return f"{unit}, −{low} to +{high}"
    if high and low:
        return f"{unit}, limit ±{high}"
    if high:
        return f"{unit}, limit {high}"
    return f"{unit}, limit −{low}" if low else unit


def _tags(rows: Rows) -> list[str]:
    tags = [tag(kind) for kind in svg.KINDS]
    return [tags[kind] for kind in rows.kind.tolist()]


def tag(kind: str) -> str:
    """Return the word of a verdict; its mark is the stylesheet's, see `svg.mark_rules`."""
    return f'<span class="tag c-{kind}">{word(kind)}</span>'


def word(kind: str) -> str:
    """Return the word of a kind; close is within, and says so."""
    return "Within, close" if kind == "close" else kind.capitalize()


def bar(share: float) -> Markup:
    """Return a small bar of the share of a limit that is used; the upright line is the limit."""
    if not np.isfinite(share):
        return Markup("")
    full, limit = 108.0, 54.0
    long = min(share * limit, full)
    past = max(long - limit, 0.0)
    inside, red = min(long, limit), svg.COLOURS["outside"]
    return Markup(  # noqa: S704  (numbers only)
        f'<svg class="bar" viewBox="0 0 110 14" aria-hidden="true">'
        f'<rect x="1" y="3" width="{svg.num(inside)}" height="8" class="inside" fill="{svg.DIM}"/>'
        f'<rect x="{1 + limit:g}" y="3" width="{svg.num(past)}" height="8" class="past" '
        f'fill="{red}"/>'
        f'<path d="M{1 + limit:g} 0V14" class="limit" stroke="{svg.INK}" stroke-width="2"/></svg>'
    )


def _head(rows: Rows, columns: Sequence[_Shown]) -> str:
    name = _ROW_NAMES.get(rows.finding.measure.kind, "Point")
    cells = [f'<th scope="col" data-sort="text" class="x">{name}</th>']
    if rows.by_row:
        cells.append('<th scope="col" data-sort="kind" class="x">Verdict</th>')
        cells.append('<th scope="col" data-sort="number">Used <small>of the limit</small></th>')
    for column in columns:
        look = ' class="x"' if column.text else ""
        note = f" <small>{escape(column.note)}</small>" if column.note else ""
        cells.append(
            f'<th scope="col" data-sort="{column.sort}"{look}>{escape(column.label)}{note}</th>'
        )
    return f"<thead><tr>{''.join(cells)}</tr></thead>"


def _pattern(rows: Rows, columns: Sequence[_Shown]) -> str:
    """Return the pattern of one row: anchor, kind, link, id, verdict, share, then the columns."""
    kind = ' data-k="%s"' if rows.by_row else ""
    pattern = f'<tr id="%s"{kind}><th scope="row"><a href="#%s">%s</a></th>'
    if rows.by_row:
        pattern += '<td class="x">%s</td><td>%s</td>'
    for column in columns:
        look = ' class="x w"' if column.label == "What was found" else ' class="x"'
        pattern += f"<td{look if column.text else ''}>%s</td>"
    return pattern + "</tr>\n"
