"""Diagnoses for the pages and for results.json."""

from collections.abc import Sequence
from dataclasses import dataclass

from checker.model.diagnosis import Cause, Diagnosis
from checker.model.finding import Results
from checker.model.measure import Quantity
from checker.report import svg
from checker.report.escape import clean
from checker.report.numbers import Outside
from checker.report.plots.explained import explained
from checker.report.show import true_minus


@dataclass(frozen=True, slots=True, kw_only=True)
class DiagnosisView:
    """A diagnosis as the pages show it.

    check: 0-based number of its check's page, or -1. pages: of all checks whose rows it touches.
    figure: residuals without and with the cause, for the first page; figures: for those of the
    checks, in the order of `pages`, each with a name of its own; None and () where there is none.
    """

    title: str
    where: str
    check: int
    says: str
    pages: tuple[int, ...]
    figure: svg.Figure | None
    figures: tuple[svg.Figure, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerView:
    """What the data could have shown, or not."""

    title: str
    shown: bool
    says: str


def diagnosis_views(results: Results) -> tuple[DiagnosisView, ...]:
    """Return the diagnoses for the first page."""
    names = [finding.measure.name for finding in results.findings]
    outside = Outside(unit=results.job.unit)
    views = []
    for number, each in enumerate(results.diagnosed.diagnoses, 1):
        applies = each.applies_to
        pages = tuple(names.index(name) for name in each.concerns if name in names)
        drawn = [explained(each, outside, f"cause-{number}{page}") for page in ("", *_on(pages))]
        views.append(
            DiagnosisView(
                title=title(each.cause.blunder),
                where=clean(_where(each)),
                check=names.index(applies.check) if applies.check in names else -1,
                says=clean(true_minus(each.says)),
                pages=pages,
                figure=drawn[0],
                figures=tuple(figure for figure in drawn[1:] if figure is not None),
            )
        )
    return tuple(views)


def _on(pages: Sequence[int]) -> list[str]:
    return [f"-check-{page + 1}" for page in pages]


def power_views(results: Results) -> tuple[PowerView, ...]:
    """Return what the data could have shown."""
    return tuple(
        PowerView(title=title(each.blunder), shown=each.could_show, says=true_minus(each.says))
        for each in results.diagnosed.power
    )


def title(blunder: str) -> str:
    """Return a slug as words."""
    return blunder.replace("-", " ").capitalize()


def _where(diagnosis: Diagnosis) -> str:
    applies = diagnosis.applies_to
    parts = [applies.check] if applies.check else []
    if applies.by != "all":
        parts.append(f"{applies.by} {applies.group}")
    return ", ".join(parts)


def diagnoses_json(results: Results) -> list[dict[str, object]]:
    """Return the diagnoses as results.json gives them: lengths in the job's unit."""
    outside = Outside(unit=results.job.unit)
    return [
        {
            "blunder": each.cause.blunder,
            "applies_to": {
                "check": each.applies_to.check,
                "by": each.applies_to.by,
                "group": each.applies_to.group,
                "ids": list(each.applies_to.ids),
            },
            "parameter": _parameter(each.cause, outside),
            "support": {item.key: outside.item(item) for item in each.support},
            "also": [
                {
                    "blunder": other.blunder,
                    "parameter": _parameter(other, outside),
                    "decides": other.decides,
                }
                for other in each.also
            ],
            "says": each.says,
        }
        for each in results.diagnosed.diagnoses
    ]


def power_json(results: Results) -> list[dict[str, object]]:
    """Return which causes the job's data could have shown, as results.json gives it."""
    return [
        {"blunder": each.blunder, "could_show": each.could_show, "says": each.says}
        for each in results.diagnosed.power
    ]


def _parameter(cause: Cause, outside: Outside) -> dict[str, object]:
    found: dict[str, object] = {item.key: outside.item(item) for item in cause.parameter}
    if cause.about_m is not None:
        n, e = (outside.one(Quantity.COORDINATE, "n", value) for value in cause.about_m)
        found["about"] = {"n": n, "e": e}
    if cause.ids and "id" not in found:
        found["ids"] = list(cause.ids)
    return found
