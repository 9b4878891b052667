"""Text of a drawing without its formatting codes.

Codes: the open DXF reference, TEXT control codes and MTEXT format codes.
"""

import re

_CODES = {"d": "°", "c": "⌀", "p": "±", "%": "%"}
_UNICODE = re.compile(r"\\U\+([0-9A-Fa-f]{4})")
_SINGLE = re.compile(r"%%([dcp%])|%%[ouk]|%%(\d{3})", re.IGNORECASE)
_UNSAFE = re.compile("[\x00-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")
_MTEXT = re.compile(
    r"\\U\+(?P<unicode>[0-9A-Fa-f]{4})"
    r"|\\(?P<line>[PNX])"
    r"|(?P<space>\\~)"
    r"|\\(?P<literal>[\\{}])"
    r"|\\[LlOoKk]"
    r"|\\S(?P<stack>[^;\\{}]{0,200});"
    r"|\\[AaCcFfHhQqTtWwp][^;{}]{0,200};"
    r"|%%(?P<code>[dcpDCP%])|%%[oukOUK]"
    r"|\^(?P<caret>[IJM ])"
    r"|[{}]"
)


def clean(text: str) -> str:
    r"""Return a name or text that every output can hold: ``\U+`` codes read, controls removed."""
    if text.isascii() and text.isprintable() and "\\U+" not in text:
        return text
    text = _UNICODE.sub(lambda found: chr(int(found[1], 16)), text)
    return _UNSAFE.sub(lambda found: "\ufffd" if found[0] > "\x9f" else " ", text)


def plain_line(text: str) -> str:
    """Return a TEXT or attribute value as one plain line, blanks trimmed."""
    if "%%" in text:
        text = _SINGLE.sub(_single, text)
    if "^" in text:
        text = text.replace("^I", " ").replace("^J", " ").replace("^M", " ").replace("^ ", "^")
    return clean(text).strip()


def plain_lines(text: str) -> list[str]:
    """Return the lines of an MTEXT that are not blank, without format codes."""
    plain = _MTEXT.sub(_mtext, text) if any(mark in text for mark in "\\{}%^") else text
    lines = (clean(line).strip() for line in plain.split("\n"))
    return [line for line in lines if line]


def _single(found: re.Match[str]) -> str:
    if found[1]:
        return _CODES[found[1].lower()]
    return chr(int(found[2])) if found[2] else ""


def _mtext(found: re.Match[str]) -> str:
    if found["unicode"]:
        return chr(int(found["unicode"], 16))
    if found["line"] or found["caret"] in ("J", "M"):
        return "\n"
    if found["space"] or found["caret"] == "I":
        return " "
    if found["stack"] is not None:
        return re.sub(r"[#^]\s?", "/", found["stack"])
    if found["code"]:
        return _CODES[found["code"].lower()]
    return found["literal"] or ("^" if found["caret"] == " " else "")
