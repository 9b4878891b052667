"""What the measurements can prove of each class of tolerance, in one table.

Every number stands in the summaries of the checks; here they are put side by side.
"""

from dataclasses import dataclass

from checker.model.finding import Finding, Results
from checker.model.measure import Item
from checker.report.escape import clean
from checker.report.links import Links
from checker.report.numbers import Outside
from checker.report.show import chance, small

_PARTS = {
    "horizontal": "plan",
    "vertical": "height",
    "along": "along the line",
    "across": "across the line",
}
_SIDES = {"vertical": ("above", "below"), "across": ("left", "right")}
_MOST = 0.5
"""The chance of missing a point set exactly right from which on a proof is a matter of luck."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProofView:
    """One part of one check: its class and limit, and what its measurements can prove."""

    tolerance: str
    check: str
    part: str
    limit: str
    provable: str
    perfect: str
    off: str
    word: str


@dataclass(frozen=True, slots=True, kw_only=True)
class UnprovenView:
    """Two sentences about what a plain comparison of a check would pass, with its page."""

    href: str
    check: str
    text: str


def unproven_views(results: Results, links: Links) -> tuple[UnprovenView, ...]:
    """Return what each check says of rows inside their limits by the bare number, unproven."""
    return tuple(
        UnprovenView(
            href=links.check(number),
            check=clean(finding.measure.name),
            text=clean(finding.unproven),
        )
        for number, finding in enumerate(results.findings)
        if finding.unproven
    )


def proof_views(results: Results) -> tuple[ProofView, ...]:
    """Return a row for every part of a check whose limit and standard deviations are known.

    In the order of the classes of tolerance, and within one in that of the checks.
    """
    outside = Outside(unit=results.job.unit)
    rows = [row for finding in results.findings for row in _rows(finding, outside)]
    classes = list(dict.fromkeys(row.tolerance for row in rows))
    return tuple(row for name in classes for row in rows if row.tolerance == name)


def _rows(finding: Finding, outside: Outside) -> list[ProofView]:
    by_key = {item.key: item for item in finding.summary}
    tolerance = finding.measure.tolerance
    found = []
    for key, part in _PARTS.items():
        proof = by_key.get(f"proof_{key}")
        if proof is None or tolerance is None:
            continue
        found.append(
            ProofView(
                tolerance=clean(tolerance.name or "stated in the check"),
                check=clean(finding.measure.name),
                part=part,
                limit=_limit(key, by_key, outside),
                provable=_size(by_key.get(f"provable_{key}"), outside),
                perfect=_chance(by_key.get(f"risk_perfect_{key}")),
                off=_chance(by_key.get(f"risk_off_{key}")),
                word=_word(key, by_key, provable=proof.value == "yes"),
            )
        )
    return found


def _word(key: str, by_key: dict[str, Item], *, provable: bool) -> str:
    """Return whether the tolerance can be proven, and what to do where it cannot.

    Where most points that are set exactly right would stay undecided it hardly can.
    """
    risk = by_key.get(f"risk_perfect_{key}")
    hardly = risk is not None and isinstance(risk.value, float) and risk.value > _MOST
    if provable and not hardly:
        return "yes"
    if key == "vertical":
        return "hardly: measure with a level" if provable else "no: measure again with a level"
    return (
        "hardly: measure with a total station from proven control"
        if provable
        else "no: measure again with a total station from proven control"
    )


def _limit(key: str, by_key: dict[str, Item], outside: Outside) -> str:
    """Return the limit, of both sides where they differ."""
    both = by_key.get(f"allowed_{key}")
    if both is not None:
        return _size(both, outside)
    sides = [
        f"{_size(by_key[f'allowed_{side}'], outside)} {side}"
        for side in _SIDES.get(key, ())
        if f"allowed_{side}" in by_key
    ]
    return ", ".join(sides) or "differs by row"


def _size(item: Item | None, outside: Outside) -> str:
    value = None if item is None else item.value
    return small(value, outside) if isinstance(value, float) else "—"


def _chance(item: Item | None) -> str:
    value = None if item is None else item.value
    return chance(value) if isinstance(value, float) else "—"
