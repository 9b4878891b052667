import numpy as np
import pytest

from checker.errors import Where
from checker.formulas import parse_formula
from checker.model.arrays import FloatArray
from checker.model.finding import Finding
from checker.model.job import Rule, Tolerance
from checker.model.measure import Comparison, Measure, Supplement
from checker.units import LengthUnit
from checker.verdicts.judge import judge


def judged(value: FloatArray, *, limit: str | None = "1 cm + 100 ppm") -> Finding:
    tolerance = None
    if limit is not None:
        formula = parse_formula(limit, "length", LengthUnit.METRE)
        tolerance = Tolerance(name="t", distance=formula, rule=Rule.SIMPLE)
    blank = np.array([""], dtype=object)
    measure = Measure(
        kind="network",
        name="N",
        where=Where(file="job.toml", line=1),
        tolerance=tolerance,
        id=np.array(["A"], dtype=object),
        columns=(),
        summary=(),
        comparisons=(
            Comparison(
                limit="distance",
                label="Relative precision",
                value=np.array([0.001]),
                length_m=np.array([100.0]),
            ),
        ),
        judged_by_row=False,
        shots=np.full((1, 1), -1),
        used=np.empty(0, dtype=np.int64),
        unchecked=blank,
        undecided=blank,
        said=blank,
        counted=np.ones(1, dtype=np.bool_),
        supplements=(
            Supplement(
                key="pairs",
                title="Pairs",
                head="Pair",
                id=np.array([f"A-{k}" for k in range(len(value))], dtype=object),
                columns=(),
                comparison=Comparison(
                    limit="distance",
                    label="Relative precision",
                    value=value,
                    length_m=np.full(len(value), 100.0),
                ),
            ),
            Supplement(
                key="plain",
                title="Plain",
                head="Row",
                id=np.array(["x"], dtype=object),
                columns=(),
            ),
        ),
    )
    return judge(measure, np.empty(0, dtype=object), LengthUnit.METRE)


def test_rows_get_limit_share_and_verdict_and_the_check_keeps_its_own() -> None:
    finding = judged(np.array([0.01, 0.02, 0.02001]))
    pairs, plain = finding.measure.supplements
    columns = {column.key: column.values for column in pairs.columns}
    assert columns["allowable"] == pytest.approx([0.02, 0.02, 0.02])
    assert columns["share"] == pytest.approx([0.5, 1.0, 1.0005])
    assert columns["verdict"].tolist() == ["within", "within", "outside"]
    assert plain.columns == ()
    assert finding.verdict.word == "within"


def test_without_a_limit_nothing_is_added() -> None:
    assert judged(np.array([0.01]), limit=None).measure.supplements[0].columns == ()
