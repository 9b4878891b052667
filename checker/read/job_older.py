"""design.older: earlier revisions of the design, so that stakes which follow one can be named."""

from collections.abc import Sequence

from checker.model.job import OlderDesign
from checker.read.toml_tables import Table, quoted
from checker.units import LengthUnit

_EXAMPLE = '["design-b.dxf"] or [{ file = "design-b.dxf", revision = "B" }]'
_TABLES = {
    "elements": '{ CL = "cl-b.csv" }',
    "intersections": '{ CL = "cl-b.csv" }',
    "profile": '{ CL = "profile-b.csv" }',
    "stakes": '{ "Edge of road" = "stakes-b.csv" }',
}
"""Tables of a revision by the name of the alignment, or of the check, that they belong to."""


def older_designs(table: Table, current: Sequence[str]) -> tuple[OlderDesign, ...]:
    """Return the earlier revisions: files, or tables of a file and the revision's name.

    current: the files of the design itself, of which none can be an earlier revision.
    """
    if not table.has("older"):
        return ()
    value = table.data["older"]
    items = value if isinstance(value, list) else [value]
    found: list[OlderDesign] = []
    if not items:
        table.wrong("older", f"the files of earlier revisions: {_EXAMPLE}", value)
    for index, item in enumerate(items):
        at = index if isinstance(value, list) else None
        one = table.within("older", item if isinstance(item, dict) else {"file": item}, index=at)
        path = one.file("file")
        tables = {key: _named(one, key, example) for key, example in _TABLES.items()}
        bare = not one.has("file")
        if bare and not any(one.has(key) for key in _TABLES):
            one.missing("file", f"the drawing or table of the revision: {_EXAMPLE}")
        elif bare:
            path = next((file for each in tables.values() for file in each.values()), None)
        revision = one.text("revision", number_too=True)
        unit = one.choice("unit", LengthUnit)
        if bare and one.has("unit"):
            one.fault(
                "conflicting-keys",
                "unit",
                f"{one.title}: unit is that of the revision's drawing or table of points, and none "
                "is named",
                'name it as file = "...", or take unit out; the other tables are read in the '
                "unit of the job",
            )
        one.done()
        if path is None:
            continue
        if path in current or any(path == each.path for each in found):
            again = "the design itself" if path in current else "named twice"
            table.fault(
                "conflicting-keys",
                "older",
                f"{table.title}: older names {quoted(path)}, which is {again}",
                "name every earlier revision's own file once",
            )
            continue
        found.append(
            OlderDesign(
                path=path,
                bare=bare,
                revision=revision,
                unit=unit,
                elements=tables["elements"],
                intersections=tables["intersections"],
                profiles=tables["profile"],
                stakes=tables["stakes"],
            )
        )
    return tuple(found)


def _named(one: Table, key: str, example: str) -> dict[str, str]:
    """Return files by the names that they belong to; {} where left out."""
    table = one.table(key, example)
    if table is None:
        return {}
    if not table.data:
        one.wrong(key, f"a table such as {example}", {})
    files = {name: table.file(name) for name in table.data}
    return {name: file for name, file in files.items() if file is not None}
