import html
import re
from pathlib import Path

import pytest

from checker.diagnose.words import (
    DECIDES,
    LOOK,
    LOOK_CLOSURE,
    NAMES,
    NEVER,
    ONE,
    SAID,
    SAID_AUDIT,
    SAID_BESIDE,
    SAID_CLOSURE,
    SAID_GEOID,
    SAID_LEFT,
    SAID_SHAPE,
    SIDE,
    SURE,
    UNSURE,
    look,
)
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
    assert set(SAID) == CLOSED
    assert set(DECIDES) == CLOSED


def test_the_methods_page_lists_every_cause_and_sentence() -> None:
    page = Path(__file__).parents[3] / "site_templates" / "methods.html.j2"
    text = html.unescape(page.read_text(encoding="utf-8"))
    for slug in CLOSED:
        assert NAMES[slug] in text, slug
        assert LOOK[slug] in text, slug
        assert SAID[slug] in text, slug
        assert DECIDES[slug] in text, slug
        assert slug.replace("-", " ").capitalize() in text
    others: list[str] = [SAID_LEFT, SAID_BESIDE, SAID_CLOSURE, SAID_AUDIT, SAID_GEOID, SAID_SHAPE]
    others += (SURE, UNSURE, *(SURE.replace("…", f"{name}.") for name, _ in ONE.values()))
    for sentence in (NEVER, LOOK_CLOSURE, *others, *SIDE.values()):
        assert sentence in text, sentence


def is_listed(sentence: str) -> bool:
    """Tell whether a sentence is one of those that the methods page lists."""
    names = (*NAMES.values(), *(name for name, _ in ONE.values()))
    meant = {form.replace("…", name) for form in (f"{SURE}.", UNSURE) for name in names}
    whole = {*LOOK.values(), *(look(slug, single=True) for slug in ONE), *SIDE.values(), NEVER}
    if sentence in whole or sentence in meant:
        return True
    seen = [form for said in SAID.values() for form in said.split(", or ")]
    forms = [SAID_LEFT, SAID_BESIDE, SAID_AUDIT, SAID_GEOID, SAID_SHAPE, *seen]
    return any(re.search(re.escape(form).replace("…", ".+"), sentence) for form in forms)


@pytest.mark.parametrize("blunder", COMMON)
def test_sentences_are_whole(blunder: str) -> None:
    for found in named(make_case(49_000, blunder)):
        assert found.says.endswith(NEVER)
        names = (NAMES[found.cause.blunder], ONE.get(found.cause.blunder, ("",))[0] or "nothing")
        assert any(name in found.says for name in names)
        for sentence in re.split(r"(?<=\.) (?=[A-Z])", found.says):
            assert is_listed(sentence), sentence
        assert "nan" not in found.says
        assert "-0.000" not in found.says
        assert "  " not in found.says


@pytest.mark.parametrize("slug", ONE)
def test_one_point_is_one_point(slug: str) -> None:
    assert look(slug, single=True) != LOOK[slug]
    assert not re.search(r"\b(stakes|points|those|their)\b", look(slug, single=True) + ONE[slug][0])


def test_an_angle_is_in_degrees_minutes_and_seconds() -> None:
    for seed in range(5):
        for found in named(make_case(61_000 + seed, "rotation")):
            assert re.search(r"turned by (\d+°\d\d′\d\d|0°00′\d\d\.\d)″ ", found.says)
            assert "degrees" not in found.says
