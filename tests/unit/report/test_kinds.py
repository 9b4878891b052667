"""Every kind of check has its words: a name, what to do where it fails, its methods."""

import re
from pathlib import Path

import pytest

from checker.model.finding import Verdict
from checker.model.kinds import KIND_NAMES
from checker.read.job import _SECTIONS
from checker.report.words import _OUTSIDE_TO_DO, _WHOLE_TO_DO

METHODS = Path(__file__).resolve().parents[3] / "site_templates" / "methods.html.j2"
KINDS = {name for name, section in _SECTIONS.items() if section.form == "many"} - {"instrument"}
KINDS |= {"control", "site_fit"}
HEADINGS = {
    "stakeout": "Stakeout",
    "slope_stake": "Alignments, lines and profiles",
    "curb_return": "Alignments, lines and profiles",
    "control": "Control and gate",
    "site_fit": "Site fit",
    "accuracy": "Accuracy statements and the field test of the rover",
    "rover_test": "Accuracy statements and the field test of the rover",
    "repeats": "Repeats",
    "traverse": "Traverse",
    "levels": "Levels",
    "vectors": "Vectors",
    "figure": "Figures",
    "surface": "Surfaces",
    "relative": "Relative positions",
    "plane": "Planes",
    "pipe": "Pipes",
    "network": "Least squares and networks",
}
"""Under which heading of the methods page a kind is explained."""


def test_every_kind_has_a_name() -> None:
    assert set(KIND_NAMES) == KINDS


@pytest.mark.parametrize("kind", sorted(KINDS - {"stakeout"}))
def test_every_kind_says_what_to_do_where_it_is_outside(kind: str) -> None:
    """Only stakes are re-set, and re-marked in cut or fill."""
    by_row, whole = _OUTSIDE_TO_DO.get(kind), _WHOLE_TO_DO.get((kind, Verdict.OUTSIDE))
    assert by_row or whole


def test_every_kind_is_explained_on_the_methods_page() -> None:
    assert set(HEADINGS) == KINDS
    there = re.findall(r"<h3>(.*?)</h3>", METHODS.read_text(encoding="utf-8"))
    assert set(HEADINGS.values()) <= set(there)
