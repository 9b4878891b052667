"""The sections of a job file that compare points one by one: [[stakeout]], [[repeats]]."""

from checker.model.job import Match, Repeats, Selection, Stakeout
from checker.read.alignments import STAKES
from checker.read.job_alignment import alignment_of, stake_offset_of, stakes_of
from checker.read.job_draft import Draft, positive
from checker.read.job_evidence import sample_keys
from checker.read.job_parts import (
    measured_of,
    needs_design,
    needs_measured,
    needs_tolerance,
    section_name,
    selection_of,
    time_with_unit,
)
from checker.read.job_tolerances import tolerance_of
from checker.read.toml_tables import Table


def read_stakeout(draft: Draft, table: Table) -> None:
    """Read [[stakeout]]: as-measured points against design points."""
    name = section_name(draft, table, "Stakeout")
    needs_measured(draft, table)
    match = table.choice("match", Match)
    within = table.parsed("within", draft.length, "a length greater than 0", accept=positive)
    by_number = (match or Match.ID) in (Match.ID, Match.STATION)
    if table.has("within") and by_number and _sound(table, "match", match):
        table.fault(
            "conflicting-keys",
            "within",
            f'{table.title} has within, which belongs to match = "nearest" or "line"',
            'take within out, or write match = "nearest"',
        )
    alignment = alignment_of(draft, table)
    stakes, stakes_columns = stakes_of(table, STAKES.names)
    stake_offset = stake_offset_of(draft, table)
    design = Selection() if stakes else selection_of(table, "design", '{ layer = "STAKE-STRUCT" }')
    _design_fits(table, match or Match.ID, design, stakes)
    along_line = table.has("alignment") and match in (Match.LINE, Match.STATION)
    if not (table.has("design") and stakes) and not (along_line and design.everything):
        needs_design(draft, table)
    tolerance = tolerance_of(draft, table)
    needs_tolerance(table, tolerance)
    draft.checks.append(
        Stakeout(
            where=table.where,
            name=name,
            tolerance=tolerance,
            design=design,
            measured=measured_of(table),
            match=match or Match.ID,
            within_m=within,
            complete=table.flag("complete", default=True),
            alignment=alignment,
            stakes=stakes,
            stakes_columns=stakes_columns,
            stake_offset_m=stake_offset,
            as_built=table.flag("as_built", default=match is Match.LINE),
        )
    )


def _design_fits(table: Table, match: Match, design: Selection, stakes: str | None) -> None:
    """Report a match, an offset or a table of stakes that lacks the line which it needs."""
    lined = table.has("alignment")
    if match is Match.LINE:
        for key, found in (
            ("stakes", stakes),
            ("id", design.ids),
            ("description", design.descriptions),
            ("file", design.files),
        ):
            if found:
                table.fault(
                    "conflicting-keys",
                    "design",
                    f'{table.title}: match = "line" compares with lines; its design names {key}',
                    'write design = { layer = "..." } with the layer of the lines',
                )
        if not (design.layers or lined):
            table.missing("design", 'the layer of the lines, { layer = "CURB" }, or an alignment')
        return
    if match is Match.STATION and not lined:
        table.missing("alignment", 'match = "station" needs one on which the stations count')
    if table.has("stake_offset") and not lined:
        table.fault(
            "missing-key",
            "stake_offset",
            f"{table.title} has stake_offset, but no line from which it is left or right",
            'add alignment = "...", or match the shots to lines with match = "line"',
        )


def _sound(table: Table, key: str, found: object) -> bool:
    """Tell whether a key is left out or was read without a fault."""
    return found is not None or not table.has(key)


def read_repeats(draft: Draft, table: Table) -> None:
    """Read [[repeats]]: shots of one mark against its first shot."""
    name = section_name(draft, table, "Repeats")
    needs_measured(draft, table)
    table.one_of("match", {"id": Match.ID})
    within = table.parsed("within", draft.length, "a length greater than 0", accept=positive)
    if table.has("match") and table.has("within"):
        table.fault(
            "conflicting-keys",
            "within",
            f"{table.title} has both match and within",
            "keep match for shots of one number, or within for shots close together",
        )
    draft.checks.append(
        Repeats(
            where=table.where,
            name=name,
            tolerance=tolerance_of(draft, table),
            measured=measured_of(table),
            within_m=within,
            apart_s=table.parsed(
                "apart", time_with_unit, 'a time greater than 0 such as "4 h"', accept=positive
            ),
            **sample_keys(table),
        )
    )
