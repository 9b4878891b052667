"""The sections of a job file about how well the method measures: accuracy, the rover's test."""

from checker.model.job import Accuracy, AccuracyStandard, Against, RoverTest
from checker.read.job_draft import Draft, columns_of, needs_section, positive, unit_of
from checker.read.job_evidence import control_sigmas
from checker.read.job_parts import measured_of, needs_measured, section_name
from checker.read.job_tolerances import tolerance_of
from checker.read.points import VOCABULARY
from checker.read.toml_tables import Table, is_short_number


def read_accuracy(draft: Draft, table: Table) -> None:
    """Read [[accuracy]]: a statement of accuracy from check points."""
    name = section_name(draft, table, "Accuracy")
    needs_measured(draft, table)
    against = table.choice("against", Against) or Against.CONTROL
    file = table.file("file")
    if not table.has("file"):
        needs_section(
            draft, table, str(against), f"points of the {against}", f"name them under [{against}]"
        )
    elif table.has("against"):
        table.fault(
            "conflicting-keys",
            "against",
            f"{table.title} has both file and against",
            "keep file for check points of their own, or against for those of the job",
        )
    sigmas = control_sigmas(draft, table)
    draft.checks.append(
        Accuracy(
            where=table.where,
            name=name,
            tolerance=tolerance_of(draft, table),
            measured=measured_of(table),
            against=against,
            file=file,
            unit=unit_of(draft, table),
            columns=columns_of(table, VOCABULARY.names),
            **sigmas,
            standard=table.choice("standard", AccuracyStandard) or AccuracyStandard.NSSDA,
        )
    )


def read_rover_test(draft: Draft, table: Table) -> None:
    """Read [[rover_test]]: two rover points, shot in series of sets."""
    name = section_name(draft, table, "Rover test")
    needs_measured(draft, table)

    def length(key: str) -> float | None:
        return table.parsed(key, draft.length, "a length greater than 0", accept=positive)

    draft.checks.append(
        RoverTest(
            where=table.where,
            name=name,
            measured=measured_of(table),
            points=_two_points(table),
            distance_m=length("distance"),
            rise_m=table.parsed("rise", draft.length, "a length, + up from the first point"),
            sigma_plan_m=length("sigma_plan"),
            sigma_height_m=length("sigma_height"),
            earlier_plan_m=length("earlier_plan"),
            earlier_height_m=length("earlier_height"),
        )
    )


def _two_points(table: Table) -> tuple[str, str]:
    """Return the numbers of the two rover points."""
    example = '["R1", "R2"], the numbers of the two rover points'
    if not table.has("points"):
        table.missing("points", example)
        return "", ""
    value = table.data["points"]
    names = [_number(each) for each in value] if isinstance(value, list) else []
    if len(names) != 2 or not names[0] or not names[1] or names[0] == names[1]:
        table.wrong("points", example, value)
        return "", ""
    return names[0], names[1]


def _number(value: object) -> str:
    """Return a point's number: a text, or a whole number as it stands; "" for anything else."""
    if isinstance(value, str):
        return value.strip()
    return str(value) if isinstance(value, int) and is_short_number(value) else ""
