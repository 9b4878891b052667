"""Points as columns: as-measured, design and control."""

import datetime
from dataclasses import dataclass

import numpy as np

from checker.model.arrays import FloatArray, IntArray, TextArray, TimeArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Quality:
    """What a receiver stored beside each point; None where no file has the column.

    NaN, NaT or "" where a row is silent. Sigmas are one standard deviation; sigma_h is radial,
    sqrt(sigma_n^2 + sigma_e^2). correlation_ne: of northing and easting, -1 to 1. time is UTC.
    pole: length of the pole.
    """

    solution: TextArray | None = None
    satellites: FloatArray | None = None
    hdop: FloatArray | None = None
    vdop: FloatArray | None = None
    pdop: FloatArray | None = None
    age_s: FloatArray | None = None
    sigma_n_m: FloatArray | None = None
    sigma_e_m: FloatArray | None = None
    sigma_h_m: FloatArray | None = None
    sigma_z_m: FloatArray | None = None
    correlation_ne: FloatArray | None = None
    epochs: FloatArray | None = None
    pole_m: FloatArray | None = None
    base: TextArray | None = None
    base_distance_m: FloatArray | None = None
    session: TextArray | None = None
    time: TimeArray | None = None
    elevation_mask_rad: FloatArray | None = None

    @property
    def setups(self) -> tuple[str, TextArray] | None:
        """What tells one set-up from another, in a word and for every point: session, else base.

        None where no file shows either.
        """
        if self.session is not None:
            return "session", self.session
        return None if self.base is None else ("base", self.base)

    @property
    def last_day(self) -> datetime.date | None:
        """The day of the latest point that shows its time; None where none does."""
        if self.time is None or np.isnat(self.time).all():
            return None
        last = self.time[~np.isnat(self.time)].max().astype("datetime64[D]")
        return datetime.date.fromisoformat(str(last))


@dataclass(frozen=True, slots=True, kw_only=True)
class SigmaBudget:
    """What the stored standard deviations leave out; one standard deviation each.

    factor: times the stored ones; floor_h_m (radial), floor_z_m: the least that is believed of
    them. bubble_rad: tilt of the pole, times its length (pole_m where a shot shows none) a radial
    one. control_h_m (radial), control_z_m: of the control that the shots rest on. fit_h_m (radial),
    fit_z_m: shape (points,), of the site fit that moved them at each of them; None: none did.
    design_m: of a coordinate of the design, on every axis, where shots are compared with it.
    turn_rad: by how much that fit turned the axes of the stored ones, clockwise.
    """

    factor: float = 1.0
    floor_h_m: float = 0.0
    floor_z_m: float = 0.0
    bubble_rad: float = 0.0
    pole_m: float = 2.0
    control_h_m: float = 0.0
    control_z_m: float = 0.0
    fit_h_m: FloatArray | None = None
    fit_z_m: FloatArray | None = None
    design_m: float = 0.0
    turn_rad: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Points:
    """Points in the order in which they were read; every array has shape (points,).

    elevation_m is NaN where the source gives none, never 0. file indexes `files`; line counts from
    1 in a table and is 0 in a drawing; layer and handle are "" in a table. budget: what checks add
    to the standard deviations of the quality; None: nothing.
    """

    id: TextArray
    northing_m: FloatArray
    easting_m: FloatArray
    elevation_m: FloatArray
    description: TextArray
    layer: TextArray
    handle: TextArray
    file: IntArray
    line: IntArray
    files: tuple[str, ...]
    quality: Quality
    budget: SigmaBudget | None = None

    def __len__(self) -> int:
        """Return the number of points."""
        return len(self.id)
