import csv
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checker.read import cell_columns
from checker.read.cell_columns import (
    LOT_CELLS,
    CellColumn,
    joined_lots,
    plain_columns,
    text_lots,
)
from checker.read.files import Source
from checker.read.points import VOCABULARY
from checker.read.tables import Table, read_table

CELLS = [str(number) if number % 7 else "" for number in range(3 * LOT_CELLS + 5)]


def column() -> CellColumn:
    made = CellColumn()
    for begin in range(0, len(CELLS), 1000):
        made.extend(CELLS[begin : begin + 1000])
    return made


def test_a_column_reads_as_a_list_does() -> None:
    made = column()
    assert len(made) == len(CELLS)
    assert list(made) == CELLS
    assert made == CELLS
    assert made == CellColumn(CELLS)
    assert made != CELLS[:-1]
    for row in (0, 1, LOT_CELLS - 1, LOT_CELLS, 2 * LOT_CELLS + 3, len(CELLS) - 1, -1, -len(CELLS)):
        assert made[row] == CELLS[row]
    assert made[4090:8200:3] == CELLS[4090:8200:3]
    for row in (len(CELLS), -len(CELLS) - 1):
        with pytest.raises(IndexError):
            made[row]
    assert "8191" in made
    assert "8191.0" not in made
    assert repr(CellColumn(["a", "b"])) == "['a', 'b']"
    assert not CellColumn()


def test_some_of_a_columns_cells_are_kept() -> None:
    keep = [row % 3 for row in range(len(CELLS))]
    assert column().kept(keep) == [cell for row, cell in enumerate(CELLS) if row % 3]


def test_lots_hold_every_cell_once() -> None:
    made = column()
    assert [cell for lot in made.lots() for cell in lot] == CELLS
    for cells in (made, CELLS, CellColumn(["", ""])):
        assert [c for lot in joined_lots(cells) for c in lot.split("\0")] == list(cells)
    assert joined_lots([]) == joined_lots(CellColumn()) == []


@settings(max_examples=60)
@given(text=st.text(alphabet="ab,\n", max_size=60), size=st.integers(0, 9), at=st.integers(0, 61))
def test_lots_of_text_are_its_lines(text: str, size: int, at: int) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(cell_columns, "LOT_CHARACTERS", size)
        lots = list(text_lots(text, at))
    assert "\n".join(lots) == text[at:]
    assert bool(lots) == (at <= len(text))


@settings(max_examples=100)
@given(
    rows=st.lists(
        st.lists(st.text(alphabet='a1. \té\x1c"', max_size=3), min_size=1, max_size=4),
        min_size=1,
        max_size=6,
    ),
    width=st.integers(1, 4),
)
def test_plain_rows_are_split_as_the_csv_module_does(rows: list[list[str]], width: int) -> None:
    lines = [",".join(row) for row in rows]
    found = plain_columns("\n".join(lines), ",", width)
    if found is None:
        return
    by_csv = list(csv.reader(lines, skipinitialspace=True, strict=True))
    assert all(len(row) == width and row[0].strip() for row in by_csv)
    assert found == [[row[place].strip() for row in by_csv] for place in range(width)]


def test_plain_rows_are_found() -> None:
    assert plain_columns("1,2\n3,\n5, 6 ", ",", 2) == [["1", "3", "5"], ["2", "", "6"]]
    for odd in ('1,"2"', "1,2,3\n4", "1,2\n\n3,4", ",2", "1", "1,2\n" + "3" * 100_001 + ",4"):
        assert plain_columns(odd, ",", 2) is None


ODD_LINES = (
    "",
    "   ",
    "# a comment, with commas, and more, words",
    "// units: metres",
    "; note",
    '77,"1,5",2,3,"two\nlines"',
    "78,1,2,3,a,b",
    "79,1",
    "id,northing,easting,elevation,description",
    ",,,,",
    ",1,2,3,no number",
    " 80 , 1 ,2,3, blank ends ",
    '81,1,2,3,"open',
    "Total,1,2,3,4",
)


def read(text: str, size: int) -> Table:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(cell_columns, "LOT_CHARACTERS", size)
        source = Source(path="t.csv", data=text.encode())
        return read_table(source, VOCABULARY, {}, tail="description")


@pytest.mark.parametrize("seed", range(60))
def test_how_large_the_lots_are_makes_no_difference(seed: int) -> None:
    dice = random.Random(seed)
    comma = dice.choice((",", ";"))
    lines = [f"{row},{row / 7:.3f},{row * 3},{dice.choice(('', '1.5'))},x" for row in range(40)]
    for _ in range(dice.randrange(5)):
        lines.insert(dice.randrange(len(lines) + 1), dice.choice(ODD_LINES))
    text = "\n".join(
        ["id,northing,easting,elevation,description", *lines, ""][: dice.choice((-1, 99))]
    )
    text = text.replace(",", comma)
    whole = read(text, 1 << 20)
    for size in (0, 30, 200):
        few = read(text, size)
        assert [list(column) for column in few.cells] == [list(column) for column in whole.cells]
        assert few.lines.tolist() == whole.lines.tolist()
        for name in ("dialect", "header", "stated", "short", "problems", "unlisted", "notices"):
            assert getattr(few, name) == getattr(whole, name)
