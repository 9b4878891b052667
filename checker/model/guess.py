"""What was guessed about the files of a new job, with the argument for each guess."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from checker.units import LengthUnit


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerGuess:
    """A stakeout that a layer of the design seems to be meant for.

    layer: "" for a table of design points. points: how many design points it has; met: how many of
    them have a shot. line: shots stand along its lines, and met counts these. nearest_m: None to
    match by number, else how far a shot may lie. heights: whether design and shots have elevations.
    at_ground: the shots stand over the design in plan and here and there above or below it, as hubs
    at ground level do, whose cut or fill goes on the lath.
    descriptions, ids: which shots of a line; both empty: all.
    apart_m, above_m: the median distance from shot to design in plan, and how far the shots stand
    above it; NaN where none met or there is no height.
    """

    layer: str
    points: int
    met: int
    apart_m: float
    above_m: float = math.nan
    line: bool = False
    nearest_m: float | None = None
    heights: bool = True
    at_ground: bool = False
    descriptions: tuple[str, ...] = ()
    ids: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """All that goes into a new job file.

    design, measured, control: paths as the job names them. unit_why, columns_why, labels_why: in
    whole sentences, for comments. unit_sure: the files themselves agree on the unit. design_unit:
    where it is not the job's. columns: "design", "measured", "control" -> field -> heading.
    label_layers: where the numbers of a drawing's points stand, if not on their own layers.
    idle: layers with design points that no stakeout uses, with the reason. again: how many numbers
    were shot again at least 20 minutes later. quality: fields that the shots show. solutions: words
    of the field solution. doubts: what the user must look at before anything else.
    """

    title: str
    design: str
    design_is_table: bool
    measured: tuple[str, ...]
    control: str | None
    unit: LengthUnit
    unit_sure: bool
    unit_why: tuple[str, ...]
    design_unit: LengthUnit | None
    columns: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    columns_why: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    label_layers: tuple[str, ...] = ()
    layers: tuple[LayerGuess, ...]
    idle: tuple[tuple[str, str], ...] = ()
    shots: int
    check_shots: int = 0
    again: int = 0
    quality: tuple[str, ...] = ()
    solutions: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
