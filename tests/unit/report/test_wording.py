"""Pages in another wording: all of it from one file."""

import json
import re
import tomllib
from dataclasses import replace
from html import unescape
from pathlib import Path

import pytest

from checker.cli import main
from checker.model.wording import Wording
from checker.report.pages import kept_together
from checker.report.render import render
from checker.report.wording import Speaker
from tests import make_wording
from tests.support.jobs import JobFolder
from tests.unit.report import factory

FILE = Path(__file__).parents[3] / "checker" / "report" / "wording.toml"
ACCENTS = str.maketrans("aeiouAEIOU", "äëïöüÄËÏÖÜ")
WORD = re.compile(r"[^\W\d_]{3,}")


def accented(text: str) -> str:
    """Return a text that is plainly not the English one, its places kept."""
    return re.sub(r"\{\d\}|[^{}]+", lambda found: found[0].translate(ACCENTS), text)


def listed() -> dict[str, str]:
    texts: dict[str, str] = tomllib.loads(FILE.read_text(encoding="utf-8"))["texts"]
    return texts


def shown(page: str) -> list[str]:
    """Return the texts of a page that a reader sees, code and the surveyor's notes left out."""
    page = re.sub(
        r'<(script|style|code|pre)\b.*?</\1>|<div class="notes">.*?</div>',
        "",
        page,
        flags=re.DOTALL,
    )
    return [unescape(node).strip() for node in re.split(r"<[^>]*>", page) if WORD.search(node)]


def test_the_file_lists_the_texts_of_the_sources() -> None:
    assert FILE.read_text(encoding="utf-8") == make_wording.wording(), (
        "run: python -m tests.make_wording"
    )


def test_no_text_of_a_template_is_missing() -> None:
    texts = listed()
    for path in make_wording.TEMPLATES.glob("*.j2"):
        for text in make_wording.template_texts(path.read_text(encoding="utf-8")):
            assert text in texts, (path.name, text)


def test_nearly_all_that_the_pages_show_comes_from_the_file() -> None:
    """What stays as it was is the job's own: its names, its words, and a few joined numbers."""
    wording = Wording(language="xx", texts={key: accented(key) for key in listed()})
    results = factory.make()
    plain = render(results)
    own = {
        *WORD.findall(json.dumps([f.measure.name for f in results.findings])),
        *WORD.findall(f"{results.job.title} {results.job.client} {results.job.surveyed_by}"),
        *WORD.findall(" ".join(str(file) for file in results.inputs.files)),
    }
    other = render(replace(results, inputs=replace(results.inputs, wording=wording)))
    assert plain.keys() == other.keys()
    kept = changed = 0
    for name, data in other.items():
        if not name.endswith(".html"):
            continue
        assert b'<html lang="xx">' in data
        for text in shown(data.decode()):
            for word in WORD.findall(text):
                if re.search("[äëïöüÄËÏÖÜ]", word):
                    changed += 1
                elif re.search("[aeiou]", word) and word not in own:
                    kept += 1
    assert changed > 5000
    assert kept < 0.06 * changed, (kept, changed)
    assert other["results.csv"] == plain["results.csv"]


def test_templates_leave_no_word_in_english() -> None:
    wording = Wording(texts={key: accented(key) for key in listed()})
    results = factory.make()
    pages = render(replace(results, inputs=replace(results.inputs, wording=wording)))
    methods = shown(pages["methods.html"].decode())
    start = next(i for i, text in enumerate(methods) if text == accented("Methods"))
    left = [
        text
        for text in methods[start:]
        if (words := WORD.findall(text)) and not any(re.search("[äëïöüÄËÏÖÜ]", w) for w in words)
    ]
    # what is left are names of institutions, files and symbols
    assert len(left) < 0.1 * len(methods), left


def test_the_same_words_again_change_nothing() -> None:
    wording = Wording(texts={key: key for key in listed()})
    results = factory.make()
    plain = render(results)
    other = render(replace(results, inputs=replace(results.inputs, wording=wording)))
    for name, data in plain.items():
        if name.endswith(".html"):
            before, after = (re.sub(r"\s+", " ", unescape(d.decode())) for d in (data, other[name]))
            assert after == before, name


def test_places_may_change_their_order_and_hold_texts_of_the_file() -> None:
    speaker = Speaker(
        Wording(
            texts={
                "{1} of {2} shots {3} beyond the circle": "{2} Schüsse, davon {1} {3} draußen",
                "lie": "liegen",
                "What to do": "Was zu tun ist",
            }
        )
    )
    text = "3 of 24 shots lie beyond the circle."
    assert speaker.text(text) == "24 Schüsse, davon 3 liegen draußen."
    assert speaker.page("<th>What to do</th><td>5</td>") == "<th>Was zu tun ist</th><td>5</td>"
    assert speaker.text("no such text") == "no such text"


def test_what_the_script_says_comes_from_the_file_too() -> None:
    """Its texts stand in the page; the script itself has none."""
    wording = Wording(texts={key: accented(key) for key in listed()})
    results = factory.make()
    page = render(replace(results, inputs=replace(results.inputs, wording=wording)))["index.html"]
    spoken = dict(re.findall(r'data-say-(\w+)="([^"]*)"', page.decode()))
    assert spoken == {
        "up": accented("Sorted by {1}, ascending"),
        "down": accented("Sorted by {1}, descending"),
        "shown": accented("{1} of {2} rows of this table are shown"),
    }
    assert f'aria-label="{accented("Zoom in")}"' in page.decode()
    script = (make_wording.TEMPLATES / "page.js").read_text(encoding="utf-8")
    used = set(re.findall(r'say\((?:up \? )?"(\w+)"(?: : "(\w+)")?', script))
    assert {name for pair in used for name in pair if name} == set(spoken)
    code = re.sub(r"^ *//.*", "", script, flags=re.MULTILINE)
    texts = [each for pair in re.findall(r"\"([^\"]*)\"|'([^']*)'", code) for each in pair]
    assert not [each for each in texts if re.search(r"[a-z]{3,} [a-z]{2,} ", each)]


def test_a_number_and_its_unit_stay_on_one_line_in_any_wording() -> None:
    page = kept_together(
        '<html><head><style>a 5 ft</style></head><body title="5 ft"><p>0.300 ft, 5 of 7, 12 mm; '
        '3 fthm</p><code>5 ft</code><div class="notes"><p>5 ft</p></div><script>5 m</script>'
    )
    gap = "\N{NO-BREAK SPACE}"
    assert page == (
        f'<html><head><style>a 5 ft</style></head><body title="5 ft"><p>0.300{gap}ft, 5 of 7, '
        f'12{gap}mm; 3 fthm</p><code>5 ft</code><div class="notes"><p>5 ft</p></div>'
        "<script>5 m</script>"
    )
    speaker = Speaker(Wording(texts={"height {1} high, limit {2}": "{1} zu hoch, erlaubt {2}"}))
    said = speaker.page("<p>height 0.300 ft high, limit 0.060 ft</p>")
    assert kept_together(f"<head></head>{said}").endswith(
        f"<p>0.300{gap}ft zu hoch, erlaubt 0.060{gap}ft</p>"
    )
    results = factory.make()
    pages = [data.decode() for name, data in render(results).items() if name.endswith(".html")]
    assert sum(len(re.findall(rf"\d{gap}ft\b", page)) for page in pages) > 50
    assert not [text for page in pages for text in shown(page) if re.search(r"\d ft\b", text)]


def test_a_wording_cannot_bring_markup_and_leaves_code_alone() -> None:
    speaker = Speaker(Wording(texts={"Find": '<b>"x" & y', "Zoom in": '"><i>'}))
    assert speaker.page("<p>Find</p><script>Find</script>") == (
        '<p>&lt;b&gt;"x" &amp; y</p><script>Find</script>'
    )
    assert "<i>" not in speaker.page('<button aria-label="Zoom in">+</button>')
    assert speaker.page('<div class="notes"><p>Find</p></div>').count("Find") == 1


def test_a_job_names_its_wording_and_lists_it_among_its_inputs(tmp_path: Path) -> None:
    rows = [("1", 10.0, 20.0, 3.0)]
    job = JobFolder(design=rows, shots=[("1", 10.0, 20.001, 3.0)]).write(tmp_path / "job")
    folder = job if job.is_dir() else job.parent
    text = (folder / "job.toml").read_text(encoding="utf-8")
    (folder / "job.toml").write_text(
        text.replace("[job]\n", '[job]\nwording = "de.toml"\n', 1), encoding="utf-8"
    )
    (folder / "de.toml").write_text(
        'language = "de"\n[texts]\n"What needs attention" = "Was zu tun ist"\n', encoding="utf-8"
    )
    main(["build", str(folder), "--out", str(tmp_path / "out")])
    page = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    assert '<html lang="de">' in page
    assert "Was zu tun ist</h2>" in page
    document = json.loads((tmp_path / "out" / "results.json").read_text(encoding="utf-8"))
    assert "wording" in {file["role"] for file in document["inputs"]}


def test_the_page_of_what_changed_speaks_it_too(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = [("S1", 10.0, 20.0, 3.0), ("S2", 11.0, 22.0, 3.0)]
    for name, north in (("w1", 10.0), ("w2", 15.0)):
        job = JobFolder(design=rows, shots=[("S1", north, 20.001, 3.0), rows[1]])
        main(["build", str(job.write(tmp_path / "job")), "--out", str(tmp_path / name)])
    file = tmp_path / "other.toml"
    texts = "\n".join(f"{json.dumps(key)} = {json.dumps(accented(key))}" for key in listed())
    file.write_text(f'language = "xx"\n[texts]\n{texts}\n', encoding="utf-8")
    old, new, page = tmp_path / "w1", tmp_path / "w2", tmp_path / "page.html"
    main(["compare", str(old), str(new), "--page", str(page), "--wording", str(file)])
    html = page.read_text(encoding="utf-8")
    assert '<html lang="xx">' in html
    own = {"w1", "w2", "csv", "design", "shots", "job", "toml", "SHA", "results", "json", "checker"}
    left = [
        word
        for text in shown(html)
        for word in WORD.findall(text)
        if word not in own and re.search("[aeiou]", word)
    ]
    assert len(left) < 12, left
    capsys.readouterr()
    assert main(["compare", str(old), str(new), "--wording", str(tmp_path / "none.toml")]) == 2
    assert "none.toml" in capsys.readouterr().err
