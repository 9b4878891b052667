import re

import nh3
import pytest
from hypothesis import given
from hypothesis import strategies as st

from checker.report.notes import notes_html

ATTACKS = [
    "<script>alert(1)</script>",
    "<img src=x onerror=alert(1)>",
    "<svg onload=alert(1)>",
    "[a](javascript:alert(1))",
    "[a](JaVaScRiPt:alert(1))",
    "[a](java\tscript:alert(1))",
    "[a](&#106;avascript:alert(1))",
    "[a](data:text/html;base64,PHNjcmlwdD4=)",
    "[a](vbscript:x)",
    "[a](file:///etc/passwd)",
    "[a]( javascript:alert(1))",
    "[a][r]\n\n[r]: javascript:alert(1)",
    "![x](http://example.org/x.png)",
    "![x](javascript:alert(1))",
    '![" onerror="alert(1)](x)',
    "<javascript:alert(1)>",
    "<http://example.org/>",
    "<a href='javascript:x'>x</a>",
    "<div class='verdict k-within'>Within</div>",
    "<meta http-equiv=refresh content='0;url=http://example.org'>",
    "<iframe srcdoc='<script>alert(1)</script>'></iframe>",
    "<style>*{display:none}</style>",
    "<!-- --><script>x</script>",
    "<details open ontoggle=alert(1)>",
    '[a](http://e.org/" onmouseover="alert(1))',
    "[a](http://e.org 't\" onclick=\"x')",
    "`<script>`",
    "    <script>x</script>",
    "\x02wzxhzdk:0\x03",
    "\x02amp\x03lt;script>",
    "| a |\n|---|\n| <script>x</script> |",
    "# <b onclick=x>h</b>",
    "&lt;script&gt;",
    "<scr<script>ipt>alert(1)</script>",
]
SAFE_TAGS = {
    *("p", "h3", "h4", "h5", "h6", "em", "strong", "code", "pre", "blockquote", "ul", "ol", "li"),
    *("hr", "br", "a", "table", "thead", "tbody", "tr", "th", "td", "span"),
}
BAD = re.compile(r"\son\w+\s*=|javascript|data:|vbscript|file:|src=|id=", re.IGNORECASE)
SAFE_ATTRIBUTES = {"a": {"href"}, "td": {"class"}, "th": {"class"}, "ol": {"start"}}


def is_clean(html: str) -> bool:
    """Tell whether an independent sanitiser finds nothing to take away."""
    cleaned = nh3.clean(
        html,
        tags=SAFE_TAGS,
        attributes=SAFE_ATTRIBUTES,
        url_schemes={"http", "https", "mailto"},
        link_rel="noreferrer",
    )

    def shape(text: str) -> list[str]:
        tags: list[str] = re.findall(r"<[^>]*>", text)
        return [re.sub(r"[\s/]+", "", tag) for tag in tags]

    return shape(html) == shape(cleaned)


@pytest.mark.parametrize("attack", ATTACKS)
def test_attacks_leave_only_text(attack: str) -> None:
    html = notes_html(attack)
    assert is_clean(html), html
    assert "verdict" not in re.findall(r'class="([^"]*)"', html)
    for tag in re.findall(r"<[^>]*>", html):
        assert not BAD.search(tag), tag


@given(st.lists(st.sampled_from([*ATTACKS, "\n", "\n\n", "> ", "- ", "*", "`", "[", "](", ")"])))
def test_mixed_attacks_leave_only_text(parts: list[str]) -> None:
    assert is_clean(notes_html("".join(parts)))


def test_plain_notes_keep_their_structure() -> None:
    table = "| a | b |\n|:--|--:|\n| 1 | 2 |\n"
    html = notes_html(f"# Day 1\n\n- **hub** at [site](https://example.org/a?b=1)\n\n{table}")
    assert "<h3>Day 1</h3>" in html
    assert "<strong>hub</strong>" in html
    assert '<a href="https://example.org/a?b=1" rel="noreferrer">site</a>' in html
    assert '<td class="to-right">2</td>' in html


def test_no_notes_no_html() -> None:
    assert notes_html(" \n") == ""
