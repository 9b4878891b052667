"""Vectors and figures for the tests: a table's text goes through the reader and the check."""

from pathlib import Path
from typing import Any

from checker.checks.figure import measure_figure
from checker.checks.vectors import measure_vectors
from checker.errors import Where
from checker.model.books import Book
from checker.model.drawing import Drawing
from checker.model.inputs import Inputs
from checker.model.job import DescribedFigure, Job, Reference, Vectors
from checker.model.measure import Measure
from checker.read.figure_book import read_figure_book
from checker.read.files import Source
from checker.read.vectors import read_vector_book
from checker.units import AngleFormat, LengthUnit

WHERE = Where(file="job.toml", line=10)


def job(unit: LengthUnit, crs: str | None = None) -> Job:
    return Job(
        file="job.toml",
        root=Path(),
        title="Invented",
        unit=unit,
        reference=Reference(crs=crs),
    )


def vectors(
    text: str, *, unit: LengthUnit = LengthUnit.METRE, crs: str | None = None, **more: Any
) -> Measure:
    """Return the measure of a table of vectors."""
    source = Source(path="vectors.csv", data=text.encode())
    book: Book = read_vector_book(source, unit=unit, columns={})
    section = Vectors(where=WHERE, name="V", file="vectors.csv", unit=unit, **more)
    return measure_vectors(section, Inputs(files=(), books={"V": book}), job(unit, crs))


def figure(text: str, *, unit: LengthUnit = LengthUnit.METRE, **more: Any) -> Measure:
    """Return the measure of a table of courses."""
    source = Source(path="courses.csv", data=text.encode())
    book: Book = read_figure_book(
        source, unit=unit, angle_format=AngleFormat.SEXAGESIMAL, columns={}
    )
    section = DescribedFigure(where=WHERE, name="F", file="courses.csv", unit=unit, **more)
    return measure_figure(section, Inputs(files=(), books={"F": book}), job(unit))


def drawn(drawing: Drawing, layer: str, *, unit: LengthUnit, **more: Any) -> Measure:
    """Return the measure of what is drawn on a layer."""
    section = DescribedFigure(where=WHERE, name="F", layers=(layer,), unit=unit, **more)
    return measure_figure(section, Inputs(files=(), drawings=(drawing,)), job(unit))
