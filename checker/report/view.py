"""From results to what pages show: finished text, so that a template only lays out."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from markupsafe import Markup

from checker import __version__
from checker.model.arrays import BoolArray, TextArray
from checker.model.finding import Finding, Results, Verdict
from checker.model.job import Job, Rule
from checker.model.kinds import kind_name
from checker.model.measure import Item
from checker.model.past import Since
from checker.report import svg, tables, words
from checker.report.again import shoot_again
from checker.report.attention import ATTENTION, HERE, Attention, attention_list
from checker.report.cutsheet import CutSheet, cut_sheets
from checker.report.diagnoses import DiagnosisView, PowerView, diagnosis_views, power_views
from checker.report.escape import clean
from checker.report.frame_view import frame_lines
from checker.report.geojson import NAME as MAP_FILE
from checker.report.geojson import MapFile
from checker.report.links import Links
from checker.report.metadata_view import metadata_lines
from checker.report.notes import notes_html
from checker.report.numbers import Outside
from checker.report.plots import (
    closures,
    differences,
    heights,
    network,
    pipes,
    plan,
    repeats,
    returns,
    share,
    stations,
    target,
)
from checker.report.proof_view import ProofView, UnprovenView, proof_views, unproven_views
from checker.report.rows import HEIGHT_LIMITS, Rows, kind_of, rows_of
from checker.report.show import closure_ratio, difference, item_text, percent, true_minus
from checker.report.sources import (
    DrawingView,
    InputsView,
    LimitsView,
    Line,
    MeasuredView,
    ShotList,
    drawing_view,
    inputs_view,
    limits_view,
    measured_view,
    unit_words,
)
from checker.report.supplements import SupplementView, repeated, supplement_views
from checker.report.who import WhoView, who_view
from checker.report.wording import Speaker
from checker.text import ratio

_SLIM_MARKS = 250
"""How many marks the plan of a report of one page holds."""
_OWN_TILE = 3
"""So many closures have a tile each."""
_ON_PLAN = ("stakeout", "control", "surface", "slope_stake", "curb_return")
"""The kinds whose rows have a place on the plan of the first page."""
_NAMED = 8
"""How many names a caption gives at most."""
_CLOSE = svg.KINDS.index("close")
_WITHIN = svg.KINDS.index("within")


@dataclass(frozen=True, slots=True, kw_only=True)
class Tile:
    """One of the few numbers at the top. kind: of the mark."""

    title: str
    kind: str
    big: str
    rest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckView:
    """A check's page. brief: no more than its verdict and its limits."""

    key: str
    name: str
    kind_name: str
    kind: str
    word: str
    headline: words.Headline
    attention: tuple[Attention, ...]
    attention_more: int
    place: str
    limits: LimitsView | None
    summary: tuple[Line, ...]
    risks: tuple[Line, ...]
    remarks: tuple[str, ...]
    figures: tuple[svg.Figure, ...]
    supplements: tuple[SupplementView, ...]
    table: tables.Table
    brief: bool
    counts: str
    used: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteView:
    """The whole report. Everything is plain text unless it is Markup.

    looks: style rules of its drawings, where they share some. left_out: what a report of one page
    leaves out, as a sentence, or "". methods: has the page of methods. laths: what the first page
    names of the cut sheet, in a report of one page. speaker: says the finished pages in the job's
    wording.
    """

    title: str
    facts: tuple[Line, ...]
    status: str
    status_note: str
    kind: str
    word: str
    headline: words.Headline
    tiles: tuple[Tile, ...]
    beware: tuple[str, ...]
    unjudged: tuple[str, ...]
    guarded: bool
    hold: str
    cautions: tuple[str, ...]
    attention: tuple[Attention, ...]
    attention_more: int
    figures: tuple[svg.Figure, ...]
    checks: tuple[CheckView, ...]
    cut_sheets: tuple[CutSheet, ...]
    laths: tuple[CutSheet, ...]
    notes: Markup
    responsible: str
    surveyed_by: str
    unit: str
    unit_words: str
    drawings: tuple[DrawingView, ...]
    design_points: int
    measured: MeasuredView | None
    inputs: InputsView
    on_map: bool
    exports: tuple[Line, ...]
    frame: tuple[Line, ...]
    metadata: tuple[Line, ...]
    proofs: tuple[ProofView, ...]
    unproven: tuple[UnprovenView, ...]
    again: ShotList
    who: WhoView
    version: str
    kinds: frozenset[str]
    looks: str
    left_out: str
    methods: bool
    since: Since
    speaker: Speaker
    diagnoses: tuple[DiagnosisView, ...]
    power: tuple[PowerView, ...]


def site_view(
    results: Results,
    links: Links,
    on_map: MapFile,
    *,
    most_rows: int | None = None,
    slim: bool = False,
    paper: bool = False,
    since: Since = Since(),  # noqa: B008  (frozen)
) -> SiteView:
    """Return everything that the pages show.

    most_rows: how many rows all tables hold together at most, the worst first; None: all. slim:
    without the checks' own plans and tables of coordinates. paper: without what paper has no room
    for, saying so. since: what changed since the report that stood in the same place before.
    """
    job, outside = results.job, Outside(unit=results.job.unit)
    every = [
        rows_of(finding, outside, f"c{number}")
        for number, finding in enumerate(results.findings, 1)
    ]
    doubts = results.doubts.tolist()
    room = _room([len(rows) for rows in every], most_rows)
    again = repeated(results.findings) if paper or slim else {}
    checks = tuple(
        _check(
            rows,
            number,
            results,
            links,
            _Room(
                most=most,
                slim=slim,
                paper=paper,
                again={table: name for (check, table), name in again.items() if check == number},
            ),
        )
        for number, (rows, most) in enumerate(zip(every, room, strict=True))
    )
    listed = ATTENTION if most_rows is None else min(ATTENTION, most_rows)
    attention, more = attention_list(every, doubts, links, listed)
    close = sum(_close(rows) for rows in every)
    kind = _overall_kind(results, every)
    return SiteView(
        title=job.title,
        facts=_facts(job),
        status=job.status.value,
        status_note=words.status_note(results),
        kind=kind,
        word=results.verdict.word,
        headline=words.headline(results, close),
        tiles=_tiles(every, results.doubts),
        beware=tuple(words.sentence(clean(text)) for text in results.beware),
        unjudged=tuple(true_minus(clean(each.text)) for each in results.unjudged),
        guarded=any(
            each.measure.tolerance is not None and each.measure.tolerance.rule is Rule.GUARDED
            for each in results.findings
        ),
        hold=words.hold(results),
        cautions=tuple(words.cautions(results)),
        attention=attention,
        attention_more=more,
        figures=_overview(every, results, links, _SLIM_MARKS if slim else None),
        checks=checks,
        cut_sheets=cut_sheets(every),
        laths=(),
        notes=notes_html(results.inputs.notes),
        responsible=job.responsible or "",
        surveyed_by=job.surveyed_by or "",
        unit=job.unit.short,
        unit_words=unit_words(job),
        drawings=tuple(drawing_view(drawing, job) for drawing in results.inputs.drawings),
        design_points=0 if results.inputs.design is None else len(results.inputs.design),
        version=__version__,
        kinds=frozenset(finding.measure.kind for finding in results.findings),
        looks="",
        left_out=words.ON_PAPER if paper else "",
        methods=True,
        since=since,
        speaker=Speaker(results.inputs.wording),
        measured=measured_view(results),
        inputs=inputs_view(results),
        on_map=on_map.there,
        exports=(Line(name=MAP_FILE, text=clean(on_map.said)),),
        frame=frame_lines(results),
        metadata=metadata_lines(results),
        proofs=proof_views(results),
        unproven=unproven_views(results, links),
        again=shoot_again(every, results),
        who=who_view(results),
        diagnoses=diagnosis_views(results),
        power=power_views(results),
    )


def _facts(job: Job) -> tuple[Line, ...]:
    known = (
        ("Job", job.number),
        ("Client", job.client),
        ("Surveyed by", job.surveyed_by),
        ("Date", job.date.isoformat() if job.date else None),
        ("Design revision", job.design.revision if job.design else None),
        ("Lengths in", Outside(unit=job.unit).words),
    )
    return tuple(Line(name=name, text=text) for name, text in known if text)


def _close(rows: Rows) -> int:
    """Return how many counted rows, or whether the whole check, are close."""
    if rows.by_row and rows.counted.any():
        return int(np.count_nonzero(rows.kind[rows.counted] == _CLOSE))
    return int(kind_of(rows.finding) == _CLOSE)


def _overall_kind(results: Results, every: Sequence[Rows]) -> str:
    if results.verdict is Verdict.WITHIN:
        return "close" if any(_close(rows) for rows in every) else "within"
    return results.verdict.word


# ---------------------------------------------------------------- first page


def _tiles(every: Sequence[Rows], doubts: TextArray) -> tuple[Tile, ...]:
    """Return control, plan, height, closures and repeats, as far as the job has them."""
    tiles = []
    for kind, title in (("control", "Control"), ("stakeout", "Plan"), ("stakeout", "Height")):
        chosen = [rows for rows in every if rows.finding.measure.kind == kind]
        limits = {"Plan": ("horizontal", "along", "across"), "Height": ("vertical",)}
        tile = (
            _limit_tile(title, chosen, limits[title], doubts)
            if title in limits
            else _rows_tile(title, chosen)
        )
        if tile is not None:
            tiles.append(tile)
    tiles += _closure_tiles([rows for rows in every if not rows.by_row])
    named = {"control", "stakeout"}
    for kind in dict.fromkeys(rows.finding.measure.kind for rows in every if rows.by_row):
        if kind not in named:
            chosen = [rows for rows in every if rows.finding.measure.kind == kind]
            tile = _rows_tile(kind_name(kind), chosen)
            tiles += [tile] if tile is not None else []
    return tuple(tiles)


def _closure_tiles(whole: Sequence[Rows]) -> list[Tile]:
    """Return a tile for each check that is judged as one, or one for all where they are many."""
    if len(whole) <= _OWN_TILE:
        return [_closure_tile(rows) for rows in whole]
    kinds = [kind_of(rows.finding) for rows in whole]
    worst = min(kinds)
    within = sum(kind >= _CLOSE for kind in kinds)
    count = within if worst >= _CLOSE else kinds.count(worst)
    word = "within" if worst >= _CLOSE else svg.KINDS[worst]
    shares = [np.nan_to_num(rows.finding.share, nan=-1.0) for rows in whole]
    most = int(np.argmax(shares))
    name = _name(whole[most].finding)
    rest = f"most used: {percent(float(shares[most]))}, {name}" if shares[most] >= 0 else ""
    big = f"{count:,} of {len(whole):,} {word}"
    return [Tile(title="Closures", kind=svg.KINDS[worst], big=big, rest=rest)]


def _rows_tile(title: str, chosen: Sequence[Rows]) -> Tile | None:
    """Return a tile about rows as a whole."""
    counted = [rows.kind[rows.counted] for rows in chosen if rows.by_row]
    kinds = np.concatenate(counted) if counted else np.empty(0, dtype=np.int64)
    if not len(kinds):
        return None
    worst = int(kinds.min())
    within = int(np.count_nonzero(kinds >= _CLOSE))
    kind = svg.KINDS[worst]
    if worst >= _CLOSE:
        big = f"{within:,} of {len(kinds):,} within"
    else:
        big = f"{np.count_nonzero(kinds == worst):,} of {len(kinds):,} {kind}"
    top = _worst(chosen)
    return Tile(title=title, kind=kind, big=big, rest=top)


def _worst(chosen: Sequence[Rows]) -> str:
    best, text = -1.0, ""
    for rows in chosen:
        use = np.where(rows.counted, np.nan_to_num(rows.share, nan=-1.0), -1.0)
        if len(use) and use.max() > best:
            best = float(use.max())
            row = int(use.argmax())
            text = f"most used: {percent(best)}, {clean(str(rows.ids[row]))}"
    return text if best >= 0 else ""


def _limit_tile(
    title: str, chosen: Sequence[Rows], limits: Sequence[str], doubts: TextArray
) -> Tile | None:
    """Return a tile about one component of the stakeouts.

    What rests on a shot in doubt is undecided in it, however its bare value stands.
    """
    failed = compared = undecided = resting = close = 0
    best, text = -1.0, ""
    for rows in chosen:
        doubtful = _doubtful(rows, doubts)
        for limit in limits:
            judgement = rows.judgement(limit)
            if judgement is None:
                continue
            use = np.where(rows.counted, np.nan_to_num(judgement.share, nan=-1.0), -1.0)
            there = use >= 0
            verdict = np.where(doubtful, np.int8(Verdict.UNDECIDED), judgement.verdict)
            compared += int(np.count_nonzero(there))
            resting += int(np.count_nonzero(there & doubtful))
            failed += int(np.count_nonzero(there & (verdict == Verdict.OUTSIDE)))
            undecided += int(np.count_nonzero(there & (verdict == Verdict.UNDECIDED)))
            close += int(np.count_nonzero(there & (verdict == Verdict.WITHIN) & (use > 0.8)))
            if len(use) and use.max() > best:
                best, row = float(use.max()), int(use.argmax())
                name = clean(str(rows.ids[row]))
                size = abs(float(judgement.value[row]))
                text = f"largest: {difference(size, rows.outside)} at {name}"
    if not compared:
        return None
    if failed:
        return Tile(
            title=title, kind="outside", big=f"{failed:,} of {compared:,} outside", rest=text
        )
    if undecided:
        if resting == undecided:
            text = f"{resting:,} rest on shots in doubt; {text}"
        big = f"{undecided:,} of {compared:,} undecided"
        return Tile(title=title, kind="undecided", big=big, rest=text)
    kind = "close" if close else "within"
    return Tile(title=title, kind=kind, big=f"{compared:,} of {compared:,} within", rest=text)


def _doubtful(rows: Rows, doubts: TextArray) -> BoolArray:
    """Return which rows are undecided whatever they come to: themselves, or by their shots."""
    measure = rows.finding.measure
    shots = np.append(doubts != "", False)[measure.shots]  # the last place: no shot
    itself: BoolArray = measure.undecided != ""
    return itself | shots.any(axis=1)


def _closure_tile(rows: Rows) -> Tile:
    finding = rows.finding
    items = {item.key: item for item in finding.summary}
    big, rest = finding.verdict.word.capitalize(), ""
    found, asked = items.get("ratio"), items.get("ratio_required")
    if finding.verdict is Verdict.OUTSIDE and finding.reason:
        # what fails, not what happens to be good
        reason = true_minus(clean(finding.reason.split("; ", maxsplit=1)[0]))
        big, _, rest = words.sentence(reason).partition(", ")
    elif found is not None and isinstance(found.value, float):
        big = closure_ratio(found.value, _number(asked))
        if asked is not None and isinstance(asked.value, float):
            rest = f"{ratio(asked.value)} asked"
    elif (item := items.get("misclosure")) is not None and item.value is not None:
        big = item_text(item, rows.outside, sign=_is_level(item, finding))
        allowed = items.get("allowable")
        if allowed is not None and allowed.value is not None:
            rest = f"±{item_text(allowed, rows.outside)} allowed"
    return Tile(
        title=clean(finding.measure.name), kind=svg.KINDS[kind_of(finding)], big=big, rest=rest
    )


def _overview(
    every: Sequence[Rows], results: Results, links: Links, most: int | None
) -> tuple[svg.Figure, ...]:
    """Return the plan of all points, at most so many drawn, and the strip of all checks."""
    placed = [
        plan.marks_of(rows, links.rows(number, rows.anchor), anywhere=True)
        for number, rows in enumerate(every)
        if rows.finding.measure.kind in _ON_PLAN
    ]
    figures: list[svg.Figure | None] = []
    if placed:
        marks = plan.join(placed)
        linework = [line for drawing in results.inputs.drawings for line in drawing.linework]
        figures += plan.overview(
            marks, linework, Outside(unit=results.job.unit), "plan", _plan_title(marks), most
        )
        if figures and figures[0] is not None and (elsewhere := _not_on_plan(every, marks)):
            figures[0] = replace(figures[0], caption=f"{figures[0].caption} {elsewhere}")
    figures.append(share.strips(every, "strips"))
    return tuple(figure for figure in figures if figure is not None)


def _not_on_plan(every: Sequence[Rows], marks: plan.Marks) -> str:
    """Return what is outside and has no place of its own on the plan, as a sentence, or ""."""
    shown = {each for each, kind in zip(marks.id, marks.kind.tolist(), strict=True) if kind == 0}
    names = []
    for rows in every:
        if rows.by_row:
            outside = np.flatnonzero(rows.counted & (rows.kind == 0)).tolist()
            new = (clean(str(rows.ids[row])) for row in outside if str(rows.ids[row]) not in shown)
            names += [f"{each} ({_name(rows.finding)})" for each in new]
        elif kind_of(rows.finding) == 0:
            names.append(_name(rows.finding))
    if not names:
        return ""
    more = f" and {len(names) - _NAMED:,} more" if len(names) > _NAMED else ""
    return f"Outside too, and not on this plan: {', '.join(names[:_NAMED])}{more}."


def _plan_title(marks: plan.Marks) -> str:
    counts = [(kind, int(np.count_nonzero(marks.kind == i))) for i, kind in enumerate(svg.KINDS)]
    said = [f"{count:,} {kind}" for kind, count in counts if count and kind != "within"]
    total = f"{len(marks.n):,} points"
    return f"{total}: {', '.join(said)}" if said else f"{total}, all within"


# ---------------------------------------------------------------- a check


def _room(lengths: Sequence[int], most: int | None) -> list[int | None]:
    """Return how many rows each table may hold; a short one keeps all, long ones share the rest."""
    if most is None or sum(lengths) <= most:
        return [None] * len(lengths)
    room: list[int | None] = [None] * len(lengths)
    left, tables = most, len(lengths)
    for place in sorted(range(len(lengths)), key=lambda index: lengths[index]):
        fair = max(left // tables, 1)
        if lengths[place] > fair:
            room[place] = fair
        left = max(left - min(lengths[place], fair), 0)
        tables -= 1
    return room


@dataclass(frozen=True, slots=True, kw_only=True)
class _Room:
    """What a check's page has room for; most, slim, paper: as `site_view` has them.

    again: its tables that stand under an earlier check, with that check's name.
    """

    most: int | None
    slim: bool
    paper: bool
    again: Mapping[int, str]


def _check(rows: Rows, number: int, results: Results, links: Links, room: _Room) -> CheckView:
    finding, measure = rows.finding, rows.finding.measure
    slim = room.slim
    kind = svg.KINDS[kind_of(finding)]
    urgent: tuple[tuple[Attention, ...], int] = ((), 0)
    if rows.by_row and not slim:
        doubts = results.doubts.tolist()
        urgent = attention_list([rows], doubts, links, HERE, first=number, alone=True)
    no_plan = slim or (room.paper and kind == "within")
    own_plan = () if no_plan else _own_plan(rows, number, results, links)
    return CheckView(
        key=rows.key,
        name=_name(finding),
        kind_name=kind_name(measure.kind),
        kind=kind,
        word=tables.word(kind),
        headline=_headline(rows),
        attention=urgent[0],
        attention_more=urgent[1],
        place=clean(str(measure.where)),
        limits=None if measure.tolerance is None else limits_view(measure.tolerance, measure.kind),
        summary=_summary(finding, rows.outside, _is_told),
        risks=_summary(finding, rows.outside, _is_risk),
        remarks=tuple(true_minus(clean(text)) for text in measure.remarks),
        figures=tuple(_figures(rows, own_plan, results)),
        supplements=supplement_views(rows, slim=slim, again=room.again),
        table=tables.check_table(
            rows, room.most, places=not (slim or room.paper), sigmas=not room.paper
        ),
        brief=False,
        counts=_counts(rows),
        used=percent(finding.share),
    )


def _name(finding: Finding) -> str:
    """Return what a check is called on the pages."""
    return clean(words.called(finding))


def _headline(rows: Rows) -> words.Headline:
    """Return the verdict of a check; a closure that is within says how it closes."""
    headline = words.check_headline(rows.finding, _close(rows))
    rest = headline.rest
    if not rows.by_row and rows.finding.verdict is Verdict.WITHIN:
        tile = _closure_tile(rows)
        if tile.rest:
            rest = f"Closes {tile.big}; {tile.rest}. {rest}"
    return words.Headline(big=clean(headline.big), rest=clean(rest))


def _counts(rows: Rows) -> str:
    """Return how many rows have which verdict, worst first."""
    if not rows.by_row:
        return f"{tables.rows_text(len(rows))}, judged as one"
    kinds = rows.kind[rows.counted]
    parts = []
    for index, kind in enumerate(svg.KINDS):
        count = int(np.count_nonzero(kinds == index))
        if count:
            parts.append(f"{count:,} {kind}")
    aside = len(rows) - len(kinds)
    text = ", ".join(parts) or "nothing counted"
    return f"{text}; {aside:,} listed only" if aside else text


def _is_risk(item: Item, _: Finding) -> bool:
    return item.key.startswith(("risk_", "expected_wrong_"))


def _is_told(item: Item, finding: Finding) -> bool:
    """Tell whether a number says something: a cut to the stake is no error in height."""
    if item.key == "allowable" and item.value is None:
        return False
    staked = finding.measure.kind in ("stakeout", "slope_stake")
    judged = any(judgement.limit in HEIGHT_LIMITS for judgement in finding.judgements)
    heights = item.key in ("mean_z", "rms_z", "max_abs_z")
    return not _is_risk(item, finding) and not (staked and heights and not judged)


def _summary(
    finding: Finding, outside: Outside, chosen: Callable[[Item, Finding], bool]
) -> tuple[Line, ...]:
    """Return the numbers of a check; a failure and its limit get the digits that part them."""
    pairs = {"misclosure": "allowable", "angular_misclosure_arcsec": "angular_allowable_arcsec"}
    items = {item.key: item for item in finding.summary}
    asked = _number(items.get("ratio_required"))
    more: dict[str, int] = {}
    for key, limit in pairs.items():
        more |= _digits(items.get(key), items.get(limit), outside)
    return tuple(
        Line(
            name=clean(words.item_name(item, finding.measure.kind)),
            text=clean(
                closure_ratio(float(item.value), asked)
                if item.key in ("ratio", "raw_ratio") and isinstance(item.value, float)
                else item_text(item, outside, more.get(item.key, 0), sign=_is_level(item, finding))
            ),
        )
        for item in finding.summary
        if chosen(item, finding)
    )


def _number(item: Item | None) -> float:
    return item.value if item is not None and isinstance(item.value, float) else float("nan")


def _is_level(item: Item, finding: Finding) -> bool:
    """Tell whether a misclosure has a sign: that of a level run has, a traverse's is a distance."""
    return item.key == "misclosure" and finding.measure.kind == "levels"


def _digits(found: Item | None, limit: Item | None, outside: Outside) -> dict[str, int]:
    """Return how many further digits part a failure from its limit, by key."""
    if found is None or limit is None:
        return {}
    if not isinstance(found.value, float) or not isinstance(limit.value, float):
        return {}
    if abs(found.value) <= limit.value:
        return {}
    for more in range(4):
        texts = [item_text(item, outside, more).lstrip("+−") for item in (found, limit)]
        if texts[0] != texts[1]:
            return {found.key: more, limit.key: more} if more else {}
    return {}


def _own_plan(
    rows: Rows, number: int, results: Results, links: Links
) -> tuple[svg.Figure | None, ...]:
    """Return a plan of one check, unless the first page's shows the same."""
    if len([f for f in results.findings if f.measure.kind in ("stakeout", "control")]) < 2:
        return ()
    marks = plan.marks_of(rows, links.rows(number, rows.anchor))
    linework = [line for drawing in results.inputs.drawings for line in drawing.linework]
    return (plan.plan(marks, linework, rows.outside, f"{rows.key}-plan", _plan_title(marks)),)


_ONE_FIGURE: dict[str, Callable[[Rows, str], svg.Figure | None]] = {
    "traverse": closures.traverse,
    "figure": closures.figure,
    "levels": closures.levels,
    "network": network.network,
    "repeats": repeats.repeats,
}
"""The kinds with one figure of their own."""


def _figures(
    rows: Rows, own_plan: Sequence[svg.Figure | None], results: Results
) -> list[svg.Figure]:
    """Return the figures that suit the kind of check."""
    key, kind = rows.key, rows.finding.measure.kind
    made: list[svg.Figure | None] = []
    if kind in ("stakeout", "control"):
        made += [
            *own_plan,
            target.target(rows, f"{key}-target"),
            share.curve(rows, f"{key}-curve"),
            stations.by_station(rows, f"{key}-stations") or heights.heights(rows, f"{key}-heights"),
        ]
    elif kind == "slope_stake":
        made += [
            stations.by_station(rows, f"{key}-stations"),
            share.curve(rows, f"{key}-curve"),
        ]
    elif kind == "curb_return":
        made.append(returns.curb_return(rows, f"{key}-map"))
    elif kind == "site_fit":
        made.append(target.target(rows, f"{key}-target"))
    elif kind in _ONE_FIGURE:
        made.append(_ONE_FIGURE[kind](rows, f"{key}-figure"))
    elif kind == "surface":
        edges = differences.surface_edges(rows, results)
        made += [
            differences.difference_map(rows, differences.SURFACE, edges, f"{key}-map"),
            heights.heights(rows, f"{key}-heights"),
        ]
    elif kind == "plane":
        made += [
            differences.difference_map(rows, differences.PLANE, (), f"{key}-map"),
            differences.difference_bars(rows, differences.PLANE, f"{key}-bars"),
        ]
    elif kind == "relative":
        made += [
            differences.difference_bars(rows, differences.DISTANCES, f"{key}-bars"),
            differences.difference_bars(rows, differences.PLUMB, f"{key}-plumb"),
        ]
    elif kind == "pipe":
        made.append(pipes.profile(rows, f"{key}-profile"))
    return [figure for figure in made if figure is not None]
