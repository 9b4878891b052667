import html
from pathlib import Path

import pytest

from checker.diagnose.words import LOOK, NAMES, NEVER
from tests.support.blunders import COMMON, make_case
from tests.support.diagnoses import named

CLOSED = {
    *("foot-definition", "unit-factor", "pole-height", "height-constant", "geoid-missing"),
    *("axes-swapped", "mirrored", "grid-ground", "wrong-zone", "rotation", "frame-shift", "shift"),
    *("dropped-digits", "transposed-digits", "ids-exchanged", "stale-revision", "wrong-line"),
    *("wrong-side", "base-moved", "disturbed-mark", "no-elevation"),
}


def test_every_cause_of_the_closed_list_has_words() -> None:
    assert set(NAMES) == CLOSED
    assert set(LOOK) == CLOSED


def test_the_methods_page_lists_every_cause_and_sentence() -> None:
    page = Path(__file__).parents[3] / "site_templates" / "methods.html.j2"
    text = html.unescape(page.read_text(encoding="utf-8"))
    for slug in CLOSED:
        assert NAMES[slug] in text, slug
        assert LOOK[slug] in text, slug
        assert slug.replace("-", " ").capitalize() in text
    assert NEVER in text


@pytest.mark.parametrize("blunder", COMMON)
def test_sentences_are_whole(blunder: str) -> None:
    for found in named(make_case(49_000, blunder)):
        assert found.says.endswith(NEVER)
        assert NAMES[found.cause.blunder] in found.says
        assert "nan" not in found.says
        assert "-0.000" not in found.says
        assert "  " not in found.says
