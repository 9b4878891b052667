"""The job file of a new job: guesses with their arguments, placeholders marked as such."""

import json
import os
import textwrap
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from checker.errors import OutputError
from checker.model.guess import Guess, LayerGuess
from checker.report.windows import refuse_unusable
from checker.text import fixed, printable
from checker.units import LengthUnit

PLACEHOLDER: Final = "placeholder: not agreed by anybody yet"
"""The source of every tolerance that a new job gets; the report prints it."""
_WIDTH: Final = 98


@dataclass(frozen=True, slots=True, kw_only=True)
class _Placeholder:
    """A pair of limits, in metres and in feet, and where the figures come from."""

    metric: tuple[str, str]
    feet: tuple[str, str]
    why: str


_STAKES: Final = _Placeholder(
    metric=("15 mm", "15 mm"),
    feet=("0.05 ft", "0.05 ft"),
    why="A figure often met for structure stakes: common practice, no source.",
)
_CONTROL: Final = _Placeholder(
    metric=("12 mm", "40 mm"),
    feet=("0.04 ft", "0.13 ft"),
    why="Horizontal: what one state's guide asks of a control check (Missouri DOT, Engineering "
    "Policy Guide 238.4.29.1, 2009: 0.04 ft). Vertical: twice the 2 cm, one sigma, that a "
    "guideline states for real-time heights (NOAA NGS, User Guidelines for Single Base Real Time "
    "GNSS Positioning, v2.1, 2011). Both were read in excerpts, not in the documents themselves.",
)
_REPEAT: Final = _Placeholder(
    metric=("20 mm", "40 mm"),
    feet=("0.07 ft", "0.13 ft"),
    why="Common practice, no source. The 20 minutes: the least that one guidance asks between two "
    "occupations (The Survey Association, Guidance Notes for GNSS Network RTK, 2012; read in "
    "excerpts); several hours are better.",
)


def job_text(guess: Guess, commented: Mapping[str, str]) -> str:
    """Return the text of job.toml.

    commented: names of sections that cannot stand as guessed -> the reason; they are written as
    comments.
    """
    return "\n".join(_Writer(guess, commented).lines()) + "\n"


def _check_shots(guess: Guess) -> str:
    """Return how many check shots there are, in words."""
    return f"{guess.check_shots} check {'shot' if guess.check_shots == 1 else 'shots'}"


def stakeout_name(layer: LayerGuess) -> str:
    """Return the name of the stakeout of a layer."""
    if layer.line:
        return f"Along {printable(layer.layer)}"
    return "Stakes" if layer.layer in ("", "*") else f"Stakes on {printable(layer.layer)}"


REPEATS_NAME: Final = "Shot again later"


def quoted(text: str) -> str:
    """Return a TOML basic string."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


class _Writer:
    def __init__(self, guess: Guess, commented: Mapping[str, str]) -> None:
        self._guess = guess
        self._commented = commented
        self._judged_by = {_tolerance_of(layer) for layer in guess.layers}

    def lines(self) -> list[str]:
        guess = self._guess
        out = _comment(
            "Written by `checker new` from what the files show. Every guess is argued beside it. "
            "What is marked TO CONFIRM nobody has agreed to: put in what your contract says, and "
            "take the mark away. Keep this file with the job."
        )
        for doubt in guess.doubts:
            out += _comment(f"LOOK HERE FIRST: {doubt}.")
        out += ["", "[job]", f"title = {quoted(guess.title)}"]
        out += [f"unit = {quoted(guess.unit.value)}" + _mark(sure=guess.unit_sure)]
        out += _comment("What bare numbers are in: metre, foot or us-survey-foot. Why this one:")
        out += _points(guess.unit_why)
        out += [
            '# responsible = "name and licence number of the licensed surveyor"',
            "",
            "# [reference]",
            '# crs = "the grid of the as-measured points"    # printed with every result',
            "# If the drawing is on ground and the shots on grid:",
            "# ground = { combined_factor = 0.9999, origin = { n = 0.0, e = 0.0 } }",
        ]
        out += self._design()
        out += self._measured()
        out += self._control()
        out += self._gate()
        out += self._tolerances()
        for layer in guess.layers:
            out += self._stakeout(layer)
        out += self._idle()
        out += self._repeats()
        return out

    def _design(self) -> list[str]:
        guess = self._guess
        key = "points" if guess.design_is_table else "drawing"
        out = ["", "[design]", f"{key} = {quoted(guess.design)}"]
        if guess.design_unit is not None:
            out.append(f"unit = {quoted(guess.design_unit.value)}    # see above. TO CONFIRM")
        if guess.label_layers:
            layers = ", ".join(quoted(layer) for layer in guess.label_layers)
            out += _comment(
                "The numbers of the points stand on another layer than the points. TO CONFIRM"
            )
            out.append(f"labels = {{ layer = [{layers}] }}")
        out += self._columns("design")
        out.append('# revision = "of the drawing"; issued = "date"')
        return out

    def _measured(self) -> list[str]:
        out = ["", "[measured]"]
        out.append(f"files = [{', '.join(quoted(path) for path in self._guess.measured)}]")
        out += self._columns("measured")
        return out

    def _columns(self, role: str) -> list[str]:
        columns = self._guess.columns.get(role)
        if not columns:
            return []
        pairs = ", ".join(f"{field} = {quoted(heading)}" for field, heading in columns.items())
        return [
            *_comment("The headings do not tell which column is which. Why so:"),
            *_points(self._guess.columns_why.get(role, ())),
            f"columns = {{ {pairs} }}",
        ]

    def _control(self) -> list[str]:
        guess = self._guess
        if guess.control is None:
            return [
                "",
                *_comment(
                    "No control was given, so nothing here proves that the shots stand on it. "
                    "Check shots are as-measured points that carry a control point's number."
                ),
                "# [control]",
                '# file = "control.csv"',
                '# tolerance = "control"',
            ]
        said = (
            f"{_check_shots(guess)} found: as-measured points that carry a control point's number."
        )
        if not guess.check_shots:
            said = (
                "No as-measured point carries a control point's number: there is no check shot, "
                "and the report will say so."
            )
        return [
            "",
            "[control]",
            *_comment(said),
            f"file = {quoted(guess.control)}",
            *self._columns("control"),
            'tolerance = "control"',
        ]

    def _gate(self) -> list[str]:
        """Offer a gate for what the shots show; it judges nothing until somebody states it."""
        guess = self._guess
        offered = [text for name, text in _GATE.items() if name in guess.quality]
        if not offered:
            return []
        stored = f" (stored: {', '.join(guess.solutions)})" if guess.solutions else ""
        return [
            "",
            *_comment(
                f"What a stored shot must show before a verdict may rest on it{stored}. Your shots "
                "have these fields; state limits and take the marks away:"
            ),
            "# [gate]",
            *(f"# {text}" for text in offered),
        ]

    def _tolerances(self) -> list[str]:
        out: list[str] = []
        if self._guess.control is not None:
            out += self._tolerance("control", _CONTROL, heights=True)
        if "stakes" in self._judged_by:
            out += self._tolerance("stakes", _STAKES, heights=True)
        if "hubs" in self._judged_by:
            out += self._tolerance("hubs", _STAKES, heights=False, hubs=True)
        if "stakes-plan" in self._judged_by:
            out += self._tolerance("stakes-plan", _STAKES, heights=False)
        if "lines" in self._judged_by:
            out += self._tolerance("lines", _STAKES, heights=False, plan="across")
        if self._guess.again:
            out += self._tolerance("repeat", _REPEAT, heights=True)
        return out

    def _tolerance(
        self,
        name: str,
        limits: _Placeholder,
        *,
        heights: bool,
        plan: str = "horizontal",
        hubs: bool = False,
    ) -> list[str]:
        metric = self._guess.unit is LengthUnit.METRE
        horizontal, vertical = limits.metric if metric else limits.feet
        out = ["", f"[tolerance.{name}]"]
        out += _comment(f"TO CONFIRM: a placeholder from no contract. {limits.why}")
        out.append(f"{plan} = {quoted(horizontal)}")
        if heights:
            out.append(f"vertical = {quoted(vertical)}")
        elif hubs:
            out += _comment(
                "Their heights are not judged: they scatter as the ground does, and the cut or "
                "fill goes on the lath. If these points were set to grade, state the limit. TO "
                "CONFIRM"
            )
            out.append(f"# vertical = {quoted(vertical)}")
        elif plan == "across":
            out += _comment(
                "The heights of shots along lines were not looked at. If the lines are drawn at "
                "the height that is to be built, state the limit. TO CONFIRM"
            )
            out.append(f"# vertical = {quoted(vertical)}")
        else:
            out += _comment("No limit in height: design or shots have no elevations.")
        out.append(f"source = {quoted(PLACEHOLDER)}")
        return out

    def _stakeout(self, layer: LayerGuess) -> list[str]:
        name = stakeout_name(layer)
        unit = self._guess.unit
        met = f"{layer.met} of {layer.points} design points have a shot"
        if layer.line:
            near = _length(layer.nearest_m or 0.0, unit)
            met = (
                f"{layer.met} shots whose numbers no design point has stand within {near} of this "
                "layer's lines: compared across them. TO CONFIRM"
            )
        elif layer.nearest_m is not None:
            near = _length(layer.nearest_m, unit)
            met += f" within {near}, but none of the same number: matched by place. TO CONFIRM"
        elif layer.met:
            met += f" of the same number; median distance {_length(layer.apart_m, unit)}"
        aloft = _aloft(layer, unit)
        if aloft:
            met += f". {aloft}"
        if layer.layer == "*":
            met = "no layer fits; all design points"
        body = [f"name = {quoted(name)}"]
        if layer.layer not in ("", "*"):
            body.append(f"design = {{ layer = {quoted(layer.layer)} }}")
        if layer.descriptions:
            listed = ", ".join(quoted(text) for text in layer.descriptions)
            body.append(f"measured = {{ description = [{listed}] }}")
        elif layer.ids:
            listed = ", ".join(quoted(text) for text in layer.ids)
            body.append(
                f"measured = {{ id = [{listed}] }}    # a shot that comes later must be added here"
            )
        if layer.nearest_m is not None:
            match = "line" if layer.line else "nearest"
            body += [
                f"match = {quoted(match)}",
                f"within = {quoted(_length(layer.nearest_m, unit))}",
            ]
        body.append(f"tolerance = {quoted(_tolerance_of(layer))}")
        body.append("# complete = false    # list stakes that are not set yet, do not count them")
        return self._section("[[stakeout]]", name, _comment(met + "."), body)

    def _repeats(self) -> list[str]:
        if not self._guess.again:
            return []
        again = self._guess.again
        said = f"{again} {'number was' if again == 1 else 'numbers were'} shot again later."
        body = [f"name = {quoted(REPEATS_NAME)}", 'apart = "20 min"', 'tolerance = "repeat"']
        return self._section("[[repeats]]", REPEATS_NAME, _comment(said), body)

    def _section(self, heading: str, name: str, said: list[str], body: list[str]) -> list[str]:
        reason = self._commented.get(name)
        if reason is None:
            return ["", heading, *said, *body]
        bare = [line for line in body if not line.startswith("#")]
        return [
            "",
            *_comment(f"Left out, for as guessed it cannot be judged: {reason}"),
            f"# {heading}",
            *(f"# {line}" for line in bare),
        ]

    def _idle(self) -> list[str]:
        idle = self._guess.idle
        if not idle:
            return []
        out = ["", *_comment("Layers with design points that no section uses, and why:")]
        for layer, why in idle:
            out += _points([f"{printable(layer) or 'the table'}: {why}"])
        return out


_GATE: Final = {
    "solution": 'solution = ["fixed"]',
    "satellites": "satellites = 5",
    "pdop": "pdop = 4.0",
    "age_s": 'age = "2 s"',
    "epochs": "epochs = 60",
    "pole_m": 'pole = ["2 m"]',
    "sigma_h_m": 'sigma_h = "10 mm"',
    "sigma_z_m": 'sigma_z = "20 mm"',
    "elevation_mask_rad": "elevation_mask = 10",
}


def _tolerance_of(layer: LayerGuess) -> str:
    """Return the name of the tolerance that a layer is judged by."""
    if layer.line:
        return "lines"
    if not layer.heights:
        return "stakes-plan"
    return "hubs" if layer.at_ground else "stakes"


_ALOFT_M: Final = 0.15
"""Shots that stand farther above or below their design than this are not that point's height."""


def _aloft(layer: LayerGuess, unit: LengthUnit) -> str:
    """Return what to ask where the shots of a layer stand high or low."""
    if layer.at_ground:
        return (
            "Its shots stand here above, there below the design by more than any survey scatters "
            f"(median {_length(layer.above_m, unit)}): taken for hubs at ground, whose cut or fill "
            "goes on the lath, and judged in plan alone. Were they set to grade, state `vertical`"
        )
    if not abs(layer.above_m) > _ALOFT_M:
        return ""
    side = "above" if layer.above_m > 0 else "below"
    return (
        f"Its shots stand {_length(abs(layer.above_m), unit)} {side} the design (median), all "
        "about alike: a pole height, another vertical datum, or no geoid? If they are hubs at "
        "ground, whose cut or fill goes on the lath, take the limit in height out of their "
        "tolerance"
    )


def _length(value_m: float, unit: LengthUnit) -> str:
    return f"{fixed(float(unit.from_metres(value_m)), 3)} {unit.short}"


def _mark(*, sure: bool) -> str:
    return "" if sure else "    # TO CONFIRM"


def _comment(text: str) -> list[str]:
    return [f"# {line}" for line in textwrap.wrap(printable(text), _WIDTH)]


def _points(texts: Iterable[str]) -> list[str]:
    """Return sentences as a list in comments."""
    out = []
    for text in texts:
        first, *rest = textwrap.wrap(printable(text), _WIDTH - 2) or [""]
        out += [f"# - {first}", *(f"#   {line}" for line in rest)]
    return out


# ---------------------------------------------------------------- what the terminal shows


def guess_lines(guess: Guess, commented: Mapping[str, str]) -> list[str]:
    """Return what was guessed, a line each, for the terminal."""
    sure = "" if guess.unit_sure else ", to confirm"
    lines = [f"LOOK HERE FIRST: {doubt}" for doubt in guess.doubts]
    lines.append(f"unit: {guess.unit.words}{sure}")
    lines += [f"  {why}" for why in guess.unit_why]
    if guess.design_unit is not None:
        lines.append(f"unit of the design: {guess.design_unit.words}, to confirm")
    for role, columns in guess.columns.items():
        pairs = ", ".join(f"{field} from {heading}" for field, heading in columns.items())
        lines.append(f"columns of {role}: {pairs}")
        lines += [f"  {why}" for why in guess.columns_why.get(role, ())]
    if guess.label_layers:
        lines.append(f"numbers of the design points: on layer {', '.join(guess.label_layers)}")
    for layer in guess.layers:
        name = stakeout_name(layer)
        how = "by number" if layer.nearest_m is None else "by place"
        said = f"{layer.met} of {layer.points} design points have a shot, {how}"
        if layer.line:
            said = f"{layer.met} shots stand along its lines"
        lines.append(f"stakeout {name}: {commented.get(name) or said}")
        aloft = _aloft(layer, guess.unit)
        if aloft:
            lines.append(f"  {aloft}")
    lines += [f"not used: layer {layer}: {why}" for layer, why in guess.idle]
    if guess.control is not None:
        lines.append(f"control: {_check_shots(guess)}")
    if guess.again:
        lines.append(f"repeats: {guess.again} numbers shot again at least 20 minutes later")
    lines.append("tolerances: placeholders, agreed by nobody: replace them by your contract's")
    return [printable(line) for line in lines]


# ---------------------------------------------------------------- the new folder


def write_new(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write a new job's files, none of which may be there; takes back what it wrote if it fails.

    Raises OutputError where a file is in the way or the folder cannot be written.
    """
    refuse_unusable(folder, "DIR")
    written: list[Path] = []
    made = not os.path.exists(folder)  # noqa: PTH110  (never raises)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, data in files.items():
            path = folder / name
            with path.open("xb") as file:
                written.append(path)
                file.write(data)
    except OSError as fault:
        for path in written:
            path.unlink(missing_ok=True)
        if made and folder.is_dir() and not any(folder.iterdir()):
            folder.rmdir()
        reason = fault.strerror or str(fault)
        raise OutputError(f"{folder}: the new job cannot be written: {reason}") from fault
