"""Evidence through a whole run: the chain from failed control to stakes, and what is named."""

import json
from pathlib import Path
from typing import Any

import pytest

from checker.run import check, document

HEAD = "id,n,e,z,sigma_n,sigma_e,correlation_ne,sigma_z,session,time\n"
QUALITY = "0.004,0.009,0.7,0.006"


def written(folder: Path, more: str, shots: str) -> dict[str, Any]:
    (folder / "job.toml").write_text(
        '[job]\ntitle = "Invented"\nunit = "metre"\ndate = 2031-04-17\n'
        '[design]\npoints = "d.csv"\n[measured]\nfile = "m.csv"\n'
        '[control]\nfile = "c.csv"\ntolerance = { horizontal = "30 mm" }\n'
        '[[stakeout]]\nname = "hubs"\ntolerance = { horizontal = "30 mm", vertical = "30 mm" }\n'
        + more
    )
    (folder / "d.csv").write_text("id,n,e,z\n1,100,200,5\n2,120,200,5\n3,140,200,5\n")
    (folder / "c.csv").write_text("id,n,e,z\nA,0,0,5\nB,300,0,5\n")
    (folder / "m.csv").write_text(HEAD + shots)
    doc: dict[str, Any] = json.loads(json.dumps(document(check(folder)), allow_nan=False))
    return doc


def section(doc: dict[str, Any], name: str) -> dict[str, Any]:
    found: dict[str, Any] = next(each for each in doc["checks"] if each["name"] == name)
    return found


SHOTS = f"""A,0,0,5,{QUALITY},am,2031-04-16T08:00
1,100.01,200,5,{QUALITY},am,2031-04-16T08:10
B,300.2,0,5,{QUALITY},pm,2031-04-16T13:00
2,120.01,200,5,{QUALITY},pm,2031-04-16T13:10
3,140.01,200,5,{QUALITY},pm,2031-04-16T16:30
"""


def test_the_page_of_the_control_shows_the_chain(tmp_path: Path) -> None:
    doc = written(tmp_path, "", SHOTS)
    rows = {row["id"]: row["verdict"] for row in section(doc, "hubs")["rows"]}
    assert rows == {"1": "within", "2": "undecided", "3": "undecided"}
    assert section(doc, "control")["remarks"][0] == (
        "What rests on the failed control: 2 shots through session pm, and on them hubs: 2, 3."
    )


def test_a_gate_in_time_leaves_what_is_far_from_a_check_shot_undecided(tmp_path: Path) -> None:
    good = SHOTS.replace("300.2", "300.0")
    doc = written(tmp_path, '[gate]\ncheck_within = "1 h"\n', good)
    rows = {row["id"]: row for row in section(doc, "hubs")["rows"]}
    assert [rows[name]["verdict"] for name in "123"] == ["within", "within", "undecided"]
    assert rows["3"]["reason"] == "nearest check shot of its session 3.50 h away, limit 1.00 h"
    aside = '[gate]\ncheck_within = "1 h"\n'
    job = '[measured]\nfile = "m.csv"\nexclude = [{ id = "B", reason = "bumped" }]\n'
    text = (tmp_path / "job.toml").read_text().replace('[measured]\nfile = "m.csv"\n', job)
    (tmp_path / "job.toml").write_text(text)
    rows = {
        row["id"]: row
        for row in section(json.loads(json.dumps(document(check(tmp_path)))), "hubs")["rows"]
    }
    assert aside in text
    assert rows["2"]["reason"] == "no check shot on control in its session"


def test_correlation_reaches_the_probability(tmp_path: Path) -> None:
    """Of two stakes equally far off, that along the long axis of the ellipse is less sure."""
    shots = f"""A,0,0,5,{QUALITY},,
1,100.012,200.018,5,{QUALITY},,
2,120.012,199.982,5,{QUALITY},,
3,140,200,5,0.004,0.009,,0.006,,
"""
    rows = {row["id"]: row for row in section(written(tmp_path, "", shots), "hubs")["rows"]}
    assert rows["1"]["horizontal"] == pytest.approx(rows["2"]["horizontal"])
    assert rows["1"]["p_within"] < rows["2"]["p_within"] - 0.01


def test_an_overdue_calibration_is_a_notice(tmp_path: Path) -> None:
    due = '[[instrument]]\nname = "rover"\ndue = 2031-04-01\n'
    written(tmp_path, due, SHOTS)
    said = [note for note in check(tmp_path).inputs.notices if note.slug == "calibration-overdue"]
    assert len(said) == 1
    assert "rover: its calibration was due on 2031-04-01, 15 days before" in said[0].message
