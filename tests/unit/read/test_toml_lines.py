import tomllib
from collections.abc import Iterator
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from checker.read.toml_lines import Path, TomlLines

TEXT = r'''# a comment with [brackets] and = signs
[job]
title = "a \" # no comment"
"quoted key".sub.'x y' = 3
multi = """
[not a section]
a = "" x""
"""
after = 1
[tolerance.s]
h = { a = 1, b = { c = [1,
 { d = 2 },
 # ] no end
 3 ] } }
[[st]]
n = 1
[[st]]
n = 2031-04-17 10:00:00  # a blank in a date
[st.sub]
k = """
five quotes"""""
q = [
  [1, 2], "]",
  '}',
 ]
"\u0041b" = 1
[[st.many]]
z = 1
[[st.many]]
z = 2
'''


def paths(value: Any, path: Path = ()) -> Iterator[Path]:
    items = enumerate(value) if isinstance(value, list) else value.items()
    for key, inner in items:
        yield (*path, key)
        if isinstance(inner, dict | list):
            yield from paths(inner, (*path, key))


def test_every_value_has_its_line() -> None:
    lines = TomlLines(TEXT)
    assert set(lines.paths()) == set(paths(tomllib.loads(TEXT)))
    expected: dict[Path, int] = {
        ("job",): 2,
        ("job", "title"): 3,
        ("job", "quoted key", "sub", "x y"): 4,
        ("job", "multi"): 5,
        ("job", "after"): 9,
        ("tolerance", "s"): 10,
        ("tolerance", "s", "h", "b", "c", 0): 11,
        ("tolerance", "s", "h", "b", "c", 1, "d"): 12,
        ("tolerance", "s", "h", "b", "c", 2): 14,
        ("st", 0): 15,
        ("st", 1): 17,
        ("st", 1, "n"): 18,
        ("st", 1, "sub", "k"): 20,
        ("st", 1, "sub", "q"): 22,
        ("st", 1, "sub", "q", 0, 1): 23,
        ("st", 1, "sub", "q", 2): 24,
        ("st", 1, "sub", "Ab"): 26,
        ("st", 1, "many", 1): 29,
        ("st", 1, "many", 1, "z"): 30,
    }
    # [[st.many]] belongs to the latest [[st]], not to its [st.sub]
    for path, line in expected.items():
        if path not in lines.paths():
            raise AssertionError(path)
        assert lines.line(path) == line, path


def test_what_is_not_there_has_the_line_around_it() -> None:
    lines = TomlLines("\n[job]\ntitle = 1\n")
    assert lines.line(("job", "unit")) == 2
    assert lines.line(("design",)) is None


keys = st.sampled_from(["a", "b-1", '"q k"', "'l#k'", "c.d", 'e."f.g"'])
scalars = st.sampled_from(
    ["1", "-1.5e3", "true", '"]"', "'}'", '"\\""', "2031-04-17", '"""x\n= [\n"""', "'''\n'''", '""']
)
values = st.recursive(
    scalars,
    lambda inner: (
        st.lists(inner, max_size=3).map(lambda v: "[" + ",\n # ]\n".join(v) + "\n]")
        | st.lists(inner, max_size=3).map(
            lambda v: "{" + ", ".join(f"k{i} = {each}" for i, each in enumerate(v)) + "}"
        )
    ),
    max_leaves=8,
)
pairs = st.lists(st.tuples(keys, values), max_size=5)
headings = st.sampled_from(["[s]", "[[t]]", "[[ t ]]", "[ s . u ]", "[t.v]", '["w x"]', "[[t.y]]"])
documents = st.lists(st.one_of(headings.map(lambda h: (h,)), pairs), max_size=8)


@given(documents)
def test_any_document(parts: list[Any]) -> None:
    text = ""
    for part in parts:
        if isinstance(part, tuple):
            text += part[0] + " # heading\n"
        else:
            text += "".join(f"{key} = {value}\n" for key, value in part)
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    lines = TomlLines(text)
    assert set(lines.paths()) == set(paths(data))
    last = text.count("\n") + 1
    assert all(1 <= line <= last for line in lines.paths().values())
