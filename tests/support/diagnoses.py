"""What the diagnoses say of invented cases."""

from __future__ import annotations

import numpy as np

from checker.model.diagnosis import Diagnosis
from checker.run import evaluate
from tests.support.blunders import Case


def named(case: Case) -> tuple[Diagnosis, ...]:
    """Return the diagnoses of a case."""
    return evaluate(case.job, case.inputs).diagnosed.diagnoses


def blunders(case: Case) -> list[str]:
    return [found.cause.blunder for found in named(case)]


def parameter(found: Diagnosis, key: str) -> float:
    for item in found.cause.parameter:
        if item.key == key and isinstance(item.value, float | int):
            return float(item.value)
    return float(np.nan)


def hit(case: Case, found: tuple[Diagnosis, ...]) -> Diagnosis | None:
    """Return the diagnosis that names what was done."""
    return next((d for d in found if d.cause.blunder == case.truth.blunder), None)


def listed(case: Case, found: tuple[Diagnosis, ...]) -> bool:
    """Tell whether what was done is listed as inseparable from what was named."""
    return any(each.blunder == case.truth.blunder for d in found for each in d.also)


def covered(case: Case, found: Diagnosis) -> list[bool]:
    """Return, for every free parameter with an interval, whether it holds the truth."""
    said = []
    for item in found.support:
        key = item.key.removesuffix("_95")
        true = case.truth.parameter.get(key)
        if item.key.endswith("_95") and true is not None and isinstance(item.value, float):
            said.append(abs(parameter(found, key) - true) <= item.value)
    return said
