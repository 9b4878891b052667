"""Write checker/report/wording.toml: every text that pages can show, gathered from the sources.

    python -m tests.make_wording

English stays where it is used; this file is for those who translate. Gathered are the texts of the
templates, tag by tag, and the strings of the modules whose sentences reach a page.
"""

import ast
import html
import itertools
import json
import re
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path

from checker.report.svg import KINDS
from checker.report.wording import sentences
from checker.report.words import PASSIVE

ROOT = Path(__file__).resolve().parent.parent
TARGET = ROOT / "checker" / "report" / "wording.toml"
TEMPLATES = ROOT / "site_templates"
MODULES = (
    *("checker/report", "checker/report/plots", "checker/verdicts", "checker/checks"),
    *("checker/diagnose", "checker/adjust", "checker/model"),
)
NOT_SHOWN = {
    f"checker/report/{name}.py"
    for name in (
        *("job_text", "deltas_dxf", "results_json", "pdf", "publish", "manifest", "wording"),
        *("data_files", "outlet", "escape", "terminal", "overview", "compact", "__init__"),
    )
}
"""Modules whose strings are messages of the terminal, file formats or drawings' code."""
CODE_CALLS = {"compile", "sub", "startswith", "endswith", "removeprefix", "removesuffix", "get"} | {
    "replace",
    "split",
    "Problem",
    "Where",
    "getattr",
    "index",
    "partition",
    "encode",
    "InputError",
    "OutputError",
    "ValueError",
    "TypeError",
    "TypeVar",
    "path",
    "rect",
    "judgement",
    "lengths",
    "flags",
    "isinstance",
    "strip",
    "rstrip",
    "lstrip",
    "svg",
}
CODE_KEYWORDS = {"key", "kind", "slug", "look", "anchor", "sort", "id", "limit", "classes", "role"}
_TAG = re.compile(r"<[^>]*>")
_SPOKEN = re.compile(r'(?:aria-label|placeholder|data-say-[a-z]+)="([^"]*)"')
_JINJA = re.compile(r"(\{%.*?%\}|\{\{.*?\}\}|\{#.*?#\})", re.DOTALL)
_LETTER = re.compile(r"[^\W\d_]")
LETTERS = 4
"""A pattern with fewer letters fits anything."""
_WORD = re.compile(r"[^\W\d_]{2}")
_CODE = re.compile(r"[<\\]|=\"|^[a-z_0-9.-]+_[a-z_0-9]*$|^[.#][\w-]|^%|\bM\d|^[a-z-]+\.[a-z0-9]+$")


def wording() -> str:
    """Return the text of the file."""
    seen: set[str] = set()
    lines = [
        "# Every text that the pages of a report can show, made by: python -m tests.make_wording",
        "# To translate: copy this file beside a job.toml, name it there as [job] wording, set the",
        "# language, and write the other language behind the equals signs. What is left empty",
        "# stays English. {1}, {2} stand for what changes, and may change places.",
        "",
        'language = "en"',
        "",
        "[texts]",
    ]
    verdicts = [text for kind in KINDS for text in (kind, f"{{1}} {kind}")]
    verdicts += [f"{{1}} of {{2}} {text}" for text in PASSIVE.values()]
    for name, texts in itertools.chain([("the verdicts", verdicts)], _templates(), _modules()):
        fresh = [text for text in dict.fromkeys(texts) if text not in seen]
        seen.update(fresh)
        if fresh:
            lines += [
                "",
                f"# {name}",
                *(f'{json.dumps(t, ensure_ascii=False)} = ""' for t in fresh),
            ]
    return "\n".join(lines) + "\n"


# ---------------------------------------------------------------- templates


def _templates() -> Iterator[tuple[str, list[str]]]:
    for path in sorted(TEMPLATES.glob("*.j2")):
        yield path.name, list(template_texts(path.read_text(encoding="utf-8")))


def template_texts(source: str) -> Iterator[str]:
    """Yield the texts of a template as patterns, between every two tags."""
    source = re.sub(r"\{% (?:import|macro|endmacro|set).*?%\}", "<>", source)
    for spoken in _SPOKEN.findall(source):
        yield from _runs(spoken)
    plain = _JINJA.sub(_without_tags, source)
    for run in _TAG.split(plain):
        yield from _runs(run)
    for literal in re.findall(r"[\"']([^\"'{}<>]{2,})[\"']", " ".join(_JINJA.findall(source))):
        if "|" not in literal and (" " in literal.strip() or literal[:1].isupper()):
            yield from _keep(literal)


def _without_tags(found: re.Match[str]) -> str:
    """Return an expression without what would look like a tag."""
    return found.group().replace("<", " ").replace(">", " ")


def _runs(run: str) -> Iterator[str]:
    """Yield a run of text with and without each of its conditional parts."""
    tree = _branches(_JINJA.split(run))
    for variant in itertools.islice(_variants(tree), 24):
        yield from _keep(_numbered(variant))


def _branches(tokens: list[str]) -> list[object]:
    """Return text, places (None) and conditional parts (lists of alternatives)."""
    stack: list[list[list[object]]] = [[[]]]
    for token in tokens:
        word = token[2:-2].split()[0] if token.startswith("{%") and token[2:-2].split() else ""
        if token.startswith("{{"):
            stack[-1][-1].append(None)
        elif word in ("if", "for"):
            stack.append([[]])
        elif word in ("else", "elif") and len(stack) > 1:
            stack[-1].append([])
        elif word in ("endif", "endfor") and len(stack) > 1:
            choices = stack.pop()
            stack[-1][-1].append([*choices, []])
        elif not token.startswith(("{%", "{#")):
            stack[-1][-1].append(token)
    while len(stack) > 1:
        choices = stack.pop()
        stack[-1][-1].append([*choices, []])
    return stack[0][-1]


def _variants(tree: list[object]) -> Iterator[list[str | None]]:
    choices = []
    for part in tree:
        if isinstance(part, list):
            choices.append([each for option in part for each in _variants(option)])
        else:
            choices.append([[part]])  # type: ignore[list-item]
    for chosen in itertools.product(*choices):
        yield list(itertools.chain.from_iterable(chosen))


def _numbered(parts: list[str | None]) -> str:
    number = itertools.count(1)
    return "".join(f"{{{next(number)}}}" if part is None else part for part in parts)


# ---------------------------------------------------------------- modules


def _modules() -> Iterator[tuple[str, list[str]]]:
    for folder in MODULES:
        for path in sorted((ROOT / folder).glob("*.py")):
            name = path.relative_to(ROOT).as_posix()
            if name not in NOT_SHOWN:
                yield name, list(module_texts(path.read_text(encoding="utf-8")))


def module_texts(source: str) -> Iterator[str]:
    """Yield the strings of a module that can reach a page, as patterns."""
    yield from _visit(ast.parse(source))


def _visit(node: ast.AST) -> Iterator[str]:
    text = ""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        text = node.value
    elif isinstance(node, ast.JoinedStr):
        text = _pattern(node)
    if not _CODE.search(text.strip()):
        yield from _keep(text)
    for child in _spoken(node):
        yield from _visit(child)


def _spoken(node: ast.AST) -> Iterable[ast.AST]:
    """Return the parts of a piece of code that can hold texts for a reader."""
    match node:
        case ast.Raise() | ast.Import() | ast.ImportFrom() | ast.Compare():
            return ()
        case ast.Expr(value=ast.Constant()):
            return ()
        case ast.JoinedStr():
            return [each.value for each in node.values if isinstance(each, ast.FormattedValue)]
        case ast.BinOp(op=ast.Mod()):
            return (node.right,)
        case ast.Subscript():
            return (node.value,)
        case ast.Dict():
            return node.values
        case ast.Call():
            named = [each.value for each in node.keywords if each.arg not in CODE_KEYWORDS]
            func = node.func
            called = func.attr if isinstance(func, ast.Attribute) else getattr(func, "id", "")
            return [func, *([] if called in CODE_CALLS else node.args), *named]
        case _:
            return ast.iter_child_nodes(node)


def _pattern(node: ast.JoinedStr) -> str:
    number = itertools.count(1)
    return "".join(
        str(value.value) if isinstance(value, ast.Constant) else f"{{{next(number)}}}"
        for value in node.values
    )


def _keep(text: str) -> Iterator[str]:
    """Yield a text, without the spaces about it, if it is one that a reader sees."""
    for sentence in sentences(html.unescape(text)):
        fixed = re.sub(r"\{\d+\}", " ", sentence)
        if _WORD.search(fixed) and ("{" not in sentence or len(_LETTER.findall(fixed)) >= LETTERS):
            yield _renumbered(sentence)


def _renumbered(text: str) -> str:
    number = itertools.count(1)
    return re.sub(r"\{\d+\}", lambda _: f"{{{next(number)}}}", text)


if __name__ == "__main__":
    TARGET.write_text(wording(), encoding="utf-8", newline="\n")
    sys.stdout.write(f"{TARGET.relative_to(ROOT)}: {wording().count(' = ')} texts\n")
