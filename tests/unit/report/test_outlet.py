import hashlib
import json
from dataclasses import replace

import numpy as np
import pytest

from checker.report import deltas_dxf, exports, results_json, tables
from checker.report.outlet import InMemory, Outlet
from checker.report.render import render, write_report
from checker.report.rows import part_of
from tests.unit.report import factory


def test_files_may_be_written_side_by_side_and_the_manifest_lists_them() -> None:
    memory = InMemory()
    outlet = Outlet(memory.open)
    with outlet.file("b.txt") as first, outlet.file("a.txt") as second:
        first("1\n")
        second("grün\n")
        first("2\n")
    outlet.add("c.bin", b"\x00")
    outlet.finish()
    assert memory.files["b.txt"] == b"1\n2\n"
    assert memory.files["a.txt"] == "grün\n".encode()
    listed = json.loads(memory.files["manifest.json"])["files"]
    assert [each["path"] for each in listed] == ["a.txt", "b.txt", "c.bin"]
    for each in listed:
        data = memory.files[each["path"]]
        assert each["bytes"] == len(data)
        assert each["sha256"] == hashlib.sha256(data).hexdigest()


def test_a_file_that_fails_is_not_listed() -> None:
    memory = InMemory()
    outlet = Outlet(memory.open)

    def fails() -> None:
        with outlet.file("a.txt") as write:
            write("1")
            raise ValueError("no more")

    with pytest.raises(ValueError, match="no more"):
        fails()
    outlet.finish()
    assert json.loads(memory.files["manifest.json"])["files"] == []


@pytest.mark.parametrize("size", [1, 3, 7])
def test_the_size_of_the_parts_changes_no_byte(monkeypatch: pytest.MonkeyPatch, size: int) -> None:
    results = factory.make()
    whole = render(results)
    for module in (results_json, exports, deltas_dxf):
        monkeypatch.setattr(module, "PART_ROWS", size)
    assert render(results) == whole


def test_a_report_is_handed_on_file_by_file() -> None:
    memory = InMemory()
    write_report(factory.make(), memory.open)
    assert memory.files == render(factory.make())
    assert list(memory.files)[-1] == "manifest.json"


def test_a_part_of_a_check_is_its_rows_and_nothing_else() -> None:
    finding = next(f for f in factory.make().findings if f.measure.judged_by_row)
    count = len(finding.measure.id)
    which = np.array([count - 1, 0])
    part = part_of(finding, which)
    assert part.measure.id.tolist() == finding.measure.id[which].tolist()
    assert part.row_reason.tolist() == finding.row_reason[which].tolist()
    for column in part.measure.columns:
        assert len(column.values) == 2
    for one, all_of_it in zip(part.judgements, finding.judgements, strict=True):
        assert one.value[1] == all_of_it.value[0] or np.isnan(one.value[1])
    assert part.verdict is finding.verdict
    same = part_of(finding, slice(0, count))
    assert same.measure.id.tolist() == finding.measure.id.tolist()


def test_a_table_of_many_pages_is_the_same_rows(monkeypatch: pytest.MonkeyPatch) -> None:
    results = factory.make()
    few = replace(results, findings=results.findings[:2])
    monkeypatch.setattr(tables, "PAGE_ROWS", 3)
    parts = [name for name in render(few) if "-part-" in name]
    rows = sum(len(finding.measure.id) for finding in few.findings)
    text = b"".join(data for name, data in render(few).items() if name.startswith("check-"))
    assert parts
    assert text.count(b"<tr id=") == rows
