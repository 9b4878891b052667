"""design.older: earlier revisions of the design, so that stakes which follow one can be named."""

from collections.abc import Sequence

from checker.model.job import OlderDesign
from checker.read.toml_tables import Table, quoted

_EXAMPLE = '["design-b.dxf"] or [{ file = "design-b.dxf", revision = "B" }]'


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
        if not one.has("file"):
            one.missing("file", f"the drawing or table of the revision: {_EXAMPLE}")
        revision = one.text("revision", number_too=True)
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
        found.append(OlderDesign(path=path, revision=revision))
    return tuple(found)
