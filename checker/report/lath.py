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
    decimals = outside.lath_decimals
    dz = outside.unit.from_metres(dz_m)
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
                limit = abs(float(outside.unit.from_metres(limit_m)))
                texts[row] = lath(
                    float(dz[row]), decimals_apart(abs(float(dz[row])), limit, decimals)
                )
    return texts
