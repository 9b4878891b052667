"""What is written on a lath: cut or fill."""

import numpy as np

from checker.model.arrays import FloatArray
from checker.model.finding import Finding, Verdict
from checker.report.numbers import Outside, fixed_column
from checker.text import decimals_apart, fixed, lath


def lath_texts(finding: Finding, dz_m: FloatArray, outside: Outside) -> list[str]:
    """Return ``C 0.32``, ``F 0.15`` or ``0.00`` for every row, "" where there is no height.

    dz_m: as-measured minus design, metres, shape (rows,). Where a height that fails would print as
    its tolerance does, one more digit stands.
    """
    unit = outside.unit
    return _texts(finding, unit.from_metres(dz_m), unit.metres, outside.lath_decimals)


def height_texts(finding: Finding, dz_m: FloatArray, outside: Outside) -> list[str]:
    """Return the same as a figure of differences says it: in a metric job ``C 32`` millimetres."""
    scale = outside.small
    if scale.unit == outside.unit.short:
        return lath_texts(finding, dz_m, outside)
    return _texts(finding, outside.smalls(dz_m), scale.metres, scale.decimals)


def _texts(finding: Finding, dz: FloatArray, metres: float, decimals: int) -> list[str]:
    """Return letters and sizes of heights in a unit of so many metres."""
    sizes = fixed_column(np.abs(dz), decimals, missing="")
    zero = fixed(0.0, decimals)
    letters = np.where(dz > 0, "C ", "F ").tolist()
    texts = [
        size if size in ("", zero) else letter + size
        for letter, size in zip(letters, sizes, strict=True)
    ]
    for judgement in finding.judgements:
        if judgement.limit != "vertical" or len(judgement.value) != len(texts):
            continue
        upper = np.broadcast_to(judgement.upper, dz.shape)
        lower = np.broadcast_to(judgement.lower, dz.shape)
        for row in np.flatnonzero(judgement.verdict == Verdict.OUTSIDE).tolist():
            limit_m = float(upper[row] if dz[row] > 0 else lower[row])
            if np.isfinite(limit_m) and np.isfinite(dz[row]):
                limit = abs(limit_m / metres)
                texts[row] = lath(
                    float(dz[row]), decimals_apart(abs(float(dz[row])), limit, decimals)
                )
    return texts
