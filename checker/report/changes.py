"""What changed between two reports, in words."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from checker.lengths import spoken_scale
from checker.model.kinds import kind_name
from checker.model.past import PastCheck, PastReport, PastRow, Place, Topics
from checker.text import fixed, printable
from checker.units import LengthUnit

_NAMED = 12
"""How many stakes a line names at most."""
_SAME_M = 1e-6
"""Places closer than this are one: reports hold full precision, units round in the last digit."""
VERDICTS = ("outside", "undecided", "unchecked", "within")
"""The verdicts' words, worst first."""
VERDICT = "The verdict"
"""The heading of what became of the counts."""
_OTHERWISE = "for another reason"
_GONE = "no longer there"
_COUNTED = (
    *(f"newly {word}" for word in VERDICTS),
    *(f"still {word} {_OTHERWISE}" for word in ("undecided", "unchecked")),
    *("checks gone", "checks added", "rows gone", "rows added", "design moved"),
    *("measured again", "checks with another tolerance", "input files changed"),
)
"""What is counted for the sentence, in its order."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """What changed. topics: heading and its lines, none empty.

    counts: how many rows, designs, inputs and tolerances changed in which way, none 0.
    """

    topics: Topics
    counts: Mapping[str, int]

    def __bool__(self) -> bool:
        """Tell whether anything changed."""
        return bool(self.topics)

    def said(self) -> str:
        """Return the changes in a sentence, what is worse first."""
        parts = [f"{what} {self.counts[what]:,}" for what in _COUNTED if what in self.counts]
        if not parts and self.topics:
            heads = [head[:1].lower() + head[1:] for head, _ in self.topics]
            return f"What changed: {', '.join(heads)}."
        text = ", ".join(parts)
        return f"{text[:1].upper()}{text[1:]}." if text else "Nothing changed."


def changes(old: PastReport, new: PastReport, named: int = _NAMED) -> Changes:
    """Compare two reports; checks go by kind and name, rows by their ids.

    named: how many stakes a line names at most.
    """
    counts: Counter[str] = Counter()
    topics: dict[str, list[str]] = {
        "The job": _job(old, new),
        VERDICT: _verdict(old, new),
        "Inputs": _inputs(old, new),
        "Tolerances": [],
        "Checks": [],
    }
    before = {(each.kind, each.name): each for each in old.checks}
    after = {(each.kind, each.name): each for each in new.checks}
    topics["Checks"] += [f"gone: {_name(before[key])}" for key in before if key not in after]
    topics["Checks"] += [f"added: {_name(after[key])}" for key in after if key not in before]
    counts["checks gone"] = sum(key not in after for key in before)
    counts["checks added"] = sum(key not in before for key in after)
    unit = LengthUnit(new.unit)
    for key, check in after.items():
        if key not in before:
            continue
        earlier = before[key]
        stated = _tolerance(earlier, check)
        topics["Tolerances"] += stated
        counts["checks with another tolerance"] += bool(stated)
        if earlier.verdict != check.verdict:
            topics["Checks"].append(f"{_name(check)}: {earlier.verdict}, now {check.verdict}")
        lines = _rows(earlier, check, unit, named, counts)
        if lines:
            topics[f"In {_name(check)}"] = lines
    topics["Files changed since they were written"] = [
        f"{report.path or 'this report'}: {_listed(report.altered, named)}"
        for report in (old, new)
        if report.altered
    ]
    counts["input files changed"] = len(topics["Inputs"])
    return Changes(
        topics=tuple((head, tuple(lines)) for head, lines in topics.items() if lines),
        counts={what: count for what, count in counts.items() if count},
    )


def changes_text(found: Changes, old: PastReport, new: PastReport) -> str:
    """Return what changed as the terminal shows it."""
    if not found:
        return printable(f"nothing changed between {old.path} and {new.path}") + "\n"
    lines = [printable(f"{old.path} -> {new.path}: {new.title}")]
    for head, said in found.topics:
        lines += ["", printable(head), *(f"  {printable(line)}" for line in said)]
    return "\n".join(lines) + "\n"


def _name(check: PastCheck) -> str:
    return check.name if check.name != check.kind else kind_name(check.kind)


def _listed(names: Iterable[str], named: int) -> str:
    """Return names in their order, the first few of them; a name that repeats stands once."""
    every = list(dict.fromkeys(names))
    more = len(every) - named
    text = ", ".join(every[:named])
    return f"{text} and {more:,} more" if more > 0 else text


def _job(old: PastReport, new: PastReport) -> list[str]:
    pairs = (
        ("title", old.title, new.title),
        ("number", old.number, new.number),
        ("unit", old.unit, new.unit),
        ("made by checker", old.version, new.version),
    )
    lines = [f'{what}: "{one}", now "{other}"' for what, one, other in pairs if one != other]
    if old.title != new.title and old.number != new.number:
        lines.append("neither title nor number agree: are these two reports of one job?")
    return lines


def _verdict(old: PastReport, new: PastReport) -> list[str]:
    lines = []
    if old.verdict != new.verdict:
        lines.append(f"{old.verdict}, now {new.verdict}")
    counts = [
        f"{word} {old.counts.get(word, 0):,}, now {new.counts.get(word, 0):,}"
        for word in VERDICTS
        if old.counts.get(word, 0) != new.counts.get(word, 0)
    ]
    return [*lines, "; ".join(counts)] if counts else lines


def _inputs(old: PastReport, new: PastReport) -> list[str]:
    lines = []
    for key in sorted(old.inputs.keys() | new.inputs.keys()):
        role, path = key
        one, other = old.inputs.get(key), new.inputs.get(key)
        if one is None:
            lines.append(f"added: {path} ({role})")
        elif other is None:
            lines.append(f"gone: {path} ({role})")
        elif one != other:
            lines.append(f"changed: {path} ({role})")
    return lines


def _tolerance(old: PastCheck, new: PastCheck) -> list[str]:
    return [
        f"{_name(new)}, {key}: {old.tolerance.get(key, 'none')}, now"
        f" {new.tolerance.get(key, 'none')}"
        for key in sorted(old.tolerance.keys() | new.tolerance.keys())
        if old.tolerance.get(key) != new.tolerance.get(key)
    ]


def _rows(
    old: PastCheck, new: PastCheck, unit: LengthUnit, named: int, counts: Counter[str]
) -> list[str]:
    """Return what became of the rows of one check, and count it."""
    before, after = _by_id(old.rows), _by_id(new.rows)
    lines = []
    turned: dict[tuple[str, str], list[str]] = {}
    moved: list[str] = []
    shot: list[str] = []
    for key, row in after.items():
        earlier = before.get(key)
        if earlier is None:
            continue
        if earlier.verdict != row.verdict:
            turned.setdefault((row.verdict, earlier.verdict), []).append(row.id)
        elif earlier.reason != row.reason and row.verdict in ("undecided", "unchecked"):
            turned.setdefault((row.verdict, _OTHERWISE), []).append(row.id)
        if (text := _moved(earlier.design, row.design, unit)) is not None:
            moved.append(f"{row.id} by {text}")
        there = None not in (*earlier.measured[:2], *row.measured[:2])
        if there and _moved(earlier.measured, row.measured, unit) is not None:
            shot.append(row.id)
    for now, was in sorted(turned, key=lambda pair: (_rank(pair[0]), _rank(pair[1]))):
        names = turned[now, was]
        reason = was if was == _OTHERWISE else f"was {was or 'not judged'}"
        head = f"still {now}" if was == _OTHERWISE else f"newly {now or 'not judged'}"
        lines.append(f"{len(names):,} {head} ({reason}): {_listed(names, named)}")
        counts[head if was != _OTHERWISE else f"{head} {_OTHERWISE}"] += len(names)
    for word, names in (
        ("design moved", moved),
        ("measured again", shot),
        (_GONE, [row.id for key, row in before.items() if key not in after]),
    ):
        if names:
            lines.append(f"{len(names):,} {word}: {_listed(names, named)}")
            counts["rows gone" if word == _GONE else word] += len(names)
    new_rows = [row for key, row in after.items() if key not in before]
    for word, count in Counter(row.verdict for row in new_rows).items():
        names = [row.id for row in new_rows if row.verdict == word]
        lines.append(f"{count:,} new{f', {word}' if word else ''}: {_listed(names, named)}")
        counts["rows added"] += count
    return lines


def _rank(word: str) -> int:
    return VERDICTS.index(word) if word in VERDICTS else len(VERDICTS)


def _by_id(rows: Sequence[PastRow]) -> Mapping[tuple[str, bool, int], PastRow]:
    """Return rows by id, whether superseded, and which of that name it is."""
    seen: Counter[tuple[str, bool]] = Counter()
    keyed = {}
    for row in rows:
        key = (row.id, row.superseded)
        seen[key] += 1
        keyed[(*key, seen[key])] = row
    return keyed


def _moved(old: Place, new: Place, unit: LengthUnit) -> str | None:
    """Return how a place moved, in the report's unit, or None where it did not."""
    steps = []
    for letter, one, other in zip("NEZ", old, new, strict=True):
        if (one is None) != (other is None):
            steps.append(f"{letter} {'added' if one is None else 'gone'}")
        elif one is not None and other is not None and abs(other - one) > _SAME_M:
            scale = spoken_scale(unit, other - one)
            size = (other - one) / scale.metres
            least = 0.5 * 10.0**-scale.decimals
            text = fixed(size, scale.decimals) if abs(size) >= least else f"{size:.2g}"
            steps.append(f"{letter} {'+' if size > 0 else ''}{text} {scale.unit}")
    return " ".join(steps) if steps else None
