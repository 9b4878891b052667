import string

from hypothesis import given
from hypothesis import strategies as st

from checker.report.escape import anchors, clean, escape, escape_all, slug

TEXTS = st.text(max_size=12)


@given(st.lists(TEXTS, max_size=20))
def test_anchors_are_unlike_each_other_and_plain(ids: list[str]) -> None:
    made = anchors(ids, "c1")
    assert len(set(made)) == len(ids)
    allowed = set(string.ascii_letters + string.digits + "._-~")
    assert all(set(anchor) <= allowed for anchor in made)


def test_anchors_read_like_their_ids() -> None:
    assert anchors(["104", "104", "104~2", "a b"], "c2") == [
        "c2-104",
        "c2-104~2",
        "c2-104_7E2",
        "c2-a_20b",
    ]


@given(TEXTS)
def test_nothing_escaped_can_open_a_tag_or_leave_an_attribute(text: str) -> None:
    assert not set("<>\"'") & set(escape(text))


@given(st.lists(TEXTS, max_size=10))
def test_many_are_escaped_like_one(texts: list[str]) -> None:
    assert escape_all(texts) == [escape(text) for text in texts]


def test_unseen_characters_are_shown() -> None:
    assert clean("a\x00b\u202ec\x1bd\ud800") == "a\ufffdb\ufffdc\ufffdd\ufffd"
    assert clean("line\nbreak\ttab ö") == "line\nbreak\ttab ö"


def test_slugs() -> None:
    assert slug("Lift station, corners!") == "lift-station-corners"
    assert slug("Größe 5/8″") == "groe-5-8"
    assert slug("墙") == ""
    assert slug("../../etc") == "etc"
