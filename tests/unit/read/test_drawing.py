"""What a drawing becomes: points, labels, linework, counts and what is said of them.

All drawings here are invented, made with ezdxf (the general reference library for the format).
"""

import io
import logging
import math
import re
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
import shapely
from ezdxf.document import Drawing as Document
from ezdxf.entities.dxfgfx import DXFGraphic
from ezdxf.entities.polyline import Polyline
from ezdxf.filemanagement import new
from ezdxf.layouts.layout import Modelspace

from checker.errors import InputError
from checker.model.drawing import Drawing
from checker.model.job import Labels
from checker.read.drawing import SAGITTA_M, read_drawing
from checker.read.files import Source
from checker.units import M_PER_US_SURVEY_FOOT, LengthUnit

METRE = LengthUnit.METRE


def drawing(version: str = "R2010") -> tuple[Document, Modelspace]:
    document = new(version)
    return document, document.modelspace()


def written(document: Document) -> bytes:
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode(document.output_encoding)


def read(
    document: Document | bytes, *, unit: LengthUnit = METRE, labels: Labels | None = None
) -> Drawing:
    data = document if isinstance(document, bytes) else written(document)
    return read_drawing(Source(path="d.dxf", data=data), unit=unit, labels=labels or Labels())


def slugs(result: Drawing) -> set[str]:
    return {notice.slug for notice in result.notices}


def said(result: Drawing, slug: str) -> str:
    return "\n".join(str(n.where) + ": " + n.message for n in result.notices if n.slug == slug)


def used_as(result: Drawing) -> dict[str, int]:
    total: Counter[str] = Counter()
    for count in result.counts:
        total[count.used_as] += count.count
    return dict(total)


def places(result: Drawing) -> dict[str, list[float]]:
    points = result.points
    columns = (points.easting_m, points.northing_m, points.elevation_m)
    table = np.column_stack(columns).tolist()
    return {str(name): place for name, place in zip(points.id, table, strict=True)}


def labelled(
    space: Modelspace, name: str, at: tuple[float, ...], layer: str = "STAKE", gap: float = 0.3
) -> None:
    space.add_point(at, dxfattribs={"layer": layer})
    space.add_text(name, dxfattribs={"layer": layer, "insert": (at[0] + gap, at[1] + gap)})


# Points and units


def test_a_point_is_read_where_it_stands_in_the_jobs_unit() -> None:
    document, space = drawing()
    labelled(space, "101", (618000.25, 512000.5, 100.125))
    labelled(space, "102", (618010.0, 512000.5, 0.5))
    result = read(document, unit=LengthUnit.US_SURVEY_FOOT)
    assert list(result.points.id) == ["101", "102"]
    expected = np.array([[618000.25, 512000.5, 100.125], [618010.0, 512000.5, 0.5]])
    got = np.column_stack(
        (result.points.easting_m, result.points.northing_m, result.points.elevation_m)
    )
    assert np.array_equal(got, expected * M_PER_US_SURVEY_FOOT)
    assert list(result.points.layer) == ["STAKE", "STAKE"]
    assert result.version == "AC1024"
    assert result.path == "d.dxf"
    assert result.points.files == ("d.dxf",)


@pytest.mark.parametrize(
    ("code", "unit", "slug", "words"),
    [
        (6, METRE, None, "metres"),
        (0, METRE, None, ""),
        (4, METRE, "header-unit", "millimetres"),
        (2, LengthUnit.US_SURVEY_FOOT, "header-foot", "feet"),
        (21, LengthUnit.FOOT, "header-foot", "US survey feet"),
        (21, LengthUnit.US_SURVEY_FOOT, None, "US survey feet"),
        (2, METRE, "header-unit", "feet"),
    ],
)
def test_the_header_is_compared_and_never_converts(
    code: int, unit: LengthUnit, slug: str | None, words: str
) -> None:
    document, space = drawing()
    document.header["$INSUNITS"] = code
    labelled(space, "1", (1000.0, 2000.0, 1.0))
    labelled(space, "2", (1300.0, 2200.0, 1.0))
    result = read(document, unit=unit)
    assert result.header_unit == words
    assert slugs(result) & {"header-unit", "header-foot"} == ({slug} if slug else set())
    assert result.points.easting_m[0] == 1000.0 * unit.metres


def test_the_header_notice_gives_the_site_by_both_readings() -> None:
    document, space = drawing()
    document.header["$INSUNITS"] = 4
    labelled(space, "1", (1000.0, 2000.0, 1.0))
    labelled(space, "2", (1300.0, 2200.0, 1.0))
    message = said(read(document), "header-unit")
    assert "300 m by 200 m" in message
    assert "0.3 m by 0.2 m" in message


def test_a_unit_that_is_not_in_the_file_is_not_reported() -> None:
    data = b"  0\nSECTION\n  2\nENTITIES\n  0\nLINE\n  8\n0\n 10\n0\n 20\n0\n 11\n9\n 21\n9\n"
    result = read(data + b"  0\nENDSEC\n  0\nEOF\n")
    assert result.header_unit == ""
    assert "header-unit" not in slugs(result)


def test_an_unknown_unit_code_is_told() -> None:
    document, _ = drawing()
    data = written(document)
    data = re.sub(rb"(\$INSUNITS\r?\n *70\r?\n *)\d+", rb"\g<1>77", data)
    result = read(data)
    assert result.header_unit == ""
    assert "77" in said(result, "header-unit")


# Elevations


def test_a_layer_without_any_height_has_no_elevation() -> None:
    document, space = drawing()
    labelled(space, "1", (0.0, 0.0, 0.0), layer="FLAT")
    labelled(space, "2", (9.0, 0.0, 0.0), layer="FLAT")
    labelled(space, "3", (50.0, 0.0, 0.0), layer="HIGH")
    labelled(space, "4", (60.0, 0.0, 7.0), layer="HIGH")
    result = read(document)
    heights = {name: place[2] for name, place in places(result).items()}
    assert math.isnan(heights["1"])
    assert math.isnan(heights["2"])
    assert heights["3"] == 0.0
    assert heights["4"] == 7.0
    assert "layer FLAT" in said(result, "no-elevation")
    assert '"3"' in said(result, "zero-elevation")


# Labels


def test_labels_go_by_the_points_own_layer() -> None:
    document, space = drawing()
    labelled(space, "101", (0.0, 0.0, 1.0), layer="A", gap=1.0)
    labelled(space, "201", (0.5, 0.5, 1.0), layer="B", gap=1.0)
    result = read(document)
    assert places(result) == {"101": [0.0, 0.0, 1.0], "201": [0.5, 0.5, 1.0]}
    assert used_as(result) == {"design point": 2, "label": 2}


def test_layers_are_the_same_in_any_case() -> None:
    document, space = drawing()
    space.add_point((0.0, 0.0, 1.0), dxfattribs={"layer": "Stake"})
    space.add_text("7", dxfattribs={"layer": "STAKE", "insert": (1.0, 1.0)})
    assert list(read(document).points.id) == ["7"]


def test_the_job_may_name_label_layers_and_a_radius() -> None:
    document, space = drawing()
    for x, name in ((0.0, "7"), (10.0, "8")):
        space.add_point((x, 0.0, 1.0), dxfattribs={"layer": "PEG"})
        space.add_text(name, dxfattribs={"layer": "PEG-NO", "insert": (x + 0.5, 0.0)})
        space.add_text("x" + name, dxfattribs={"layer": "PEG", "insert": (x, 0.1)})
    space.add_point((50.0, 0.0, 1.0), dxfattribs={"layer": "PEG"})
    result = read(document, labels=Labels(layers=("peg-*",), radius_m=2.0))
    assert list(result.points.id)[:2] == ["7", "8"]
    assert str(result.points.id[2]).startswith("@")
    assert "unlabelled-point" in slugs(result)


def test_label_layers_without_text_are_told() -> None:
    document, space = drawing()
    labelled(space, "1", (0.0, 0.0, 1.0))
    assert "NUMBERS" in said(read(document, labels=Labels(layers=("NUMBERS",))), "label-layers")


def test_a_radius_is_in_metres() -> None:
    document, space = drawing()
    labelled(space, "1", (0.0, 0.0, 1.0), gap=2.0)  # 2.83 ft away: 0.86 m
    foot = LengthUnit.FOOT
    assert list(read(document, unit=foot, labels=Labels(radius_m=0.9)).points.id) == ["1"]
    assert read(document, unit=foot, labels=Labels(radius_m=0.8)).points.id[0] != "1"


def test_aligned_text_stands_at_its_alignment_point() -> None:
    document, space = drawing()
    for x, name in ((0.0, "1"), (20.0, "2")):
        space.add_point((x, 0.0, 5.0), dxfattribs={"layer": "P"})
        text = space.add_text(name, dxfattribs={"layer": "P", "halign": 1, "valign": 2})
        text.dxf.insert = (20.0 - x, 0.0)  # misleading: the first point lies at the other label
        text.dxf.align_point = (x + 0.2, 0.0)
    result = places(read(document))
    assert result["1"][0] == 0.0
    assert result["2"][0] == 20.0


def test_text_in_a_mirrored_system_stands_where_it_is_seen() -> None:
    document, space = drawing()
    space.add_point((-30.0, 5.0, 1.0), dxfattribs={"layer": "P"})
    space.add_point((30.0, 5.0, 1.0), dxfattribs={"layer": "P"})
    space.add_text(
        "left", dxfattribs={"layer": "P", "insert": (30.0, 5.0), "extrusion": (0, 0, -1)}
    )
    space.add_text("right", dxfattribs={"layer": "P", "insert": (30.0, 5.1)})
    assert places(read(document))["left"][0] == -30.0


def test_mtext_gives_number_and_description_without_codes() -> None:
    document, space = drawing()
    space.add_point((0.0, 0.0, 1.0), dxfattribs={"layer": "P"})
    space.add_mtext(
        r"{\fStandard|b0|i0;\H0.7x;\C1;P-10\{a\}}\PTop of \LWALL\l\~%%d",
        dxfattribs={"layer": "P", "insert": (0.5, 0.5)},
    )
    result = read(document)
    assert list(result.points.id) == ["P-10{a}"]
    assert list(result.points.description) == ["Top of WALL °"]


def test_elevation_texts_are_not_numbers() -> None:
    document, space = drawing()
    for x, name in ((0.0, "11"), (10.0, "12")):
        labelled(space, name, (x, 0.0, 99.5), gap=1.0)
        space.add_text("99.50", dxfattribs={"layer": "STAKE", "insert": (x + 0.1, 0.1)})
    result = read(document)
    assert list(result.points.id) == ["11", "12"]
    assert "99.50" in said(result, "elevation-text")
    assert used_as(result) == {"design point": 2, "label": 2, "not used": 2}


def test_numbers_with_decimals_stay_numbers_where_there_are_no_others() -> None:
    document, space = drawing()
    labelled(space, "1.1", (0.0, 0.0, 1.0))
    labelled(space, "1.2", (10.0, 0.0, 1.0))
    assert list(read(document).points.id) == ["1.1", "1.2"]


def test_points_without_label_are_called_by_handle() -> None:
    document, space = drawing()
    point = space.add_point((0.0, 0.0, 1.0), dxfattribs={"layer": "P"})
    result = read(document)
    assert list(result.points.id) == [f"@{point.dxf.handle}"]
    assert list(result.points.handle) == [point.dxf.handle]
    assert "layer P" in said(result, "unlabelled-point")


def test_a_label_that_two_points_want_is_told() -> None:
    document, space = drawing()
    space.add_point((0.0, 0.0, 1.0), dxfattribs={"layer": "P"})
    space.add_point((2.0, 0.0, 1.0), dxfattribs={"layer": "P"})
    space.add_text("1", dxfattribs={"layer": "P", "insert": (1.0, 0.0)})
    space.add_text("2", dxfattribs={"layer": "P", "insert": (3.5, 0.0)})
    result = read(document)
    assert sorted(result.points.id) == ["1", "2"]
    assert "label-ambiguous" in slugs(result)


def test_a_repeated_number_is_told_and_left_to_the_check() -> None:
    document, space = drawing()
    labelled(space, "5", (0.0, 0.0, 1.0))
    labelled(space, "5", (10.0, 0.0, 1.0))
    result = read(document)
    assert list(result.points.id) == ["5", "5"]
    assert '"5"' in said(result, "repeated-label")


# Blocks


def symbol(document: Document, name: str = "PEG", *tags: str) -> None:
    block = document.blocks.new(name)
    block.add_circle((0, 0), 0.2)
    for tag in tags:
        block.add_attdef(tag, (0.3, 0.3))


def test_a_symbol_with_a_number_is_a_point_at_its_insertion() -> None:
    document, space = drawing()
    symbol(document, "PEG", "PT_NO", "ELEV", "DESC")
    for x, elevation in ((10.0, "55.25"), (20.0, "56.00")):
        insert = space.add_blockref("PEG", (x, 5.0), dxfattribs={"layer": "STAKE", "xscale": 3})
        insert.add_attrib("PT_NO", f"N{x:.0f}", (x, 5))
        insert.add_attrib("ELEV", elevation, (x, 5))
        insert.add_attrib("DESC", "hub", (x, 5))
    result = read(document)
    assert places(result) == {"N10": [10.0, 5.0, 55.25], "N20": [20.0, 5.0, 56.0]}
    assert list(result.points.description) == ["hub", "hub"]
    assert {"symbol-points", "elevation-attribute"} <= slugs(result)
    assert used_as(result) == {"design point": 2}


def test_the_height_of_the_insertion_goes_before_the_attribute() -> None:
    document, space = drawing()
    symbol(document, "PEG", "NO", "Z")
    insert = space.add_blockref("PEG", (1.0, 2.0, 10.0))
    insert.add_attrib("NO", "1", (1, 2))
    insert.add_attrib("Z", "11.50", (1, 2))
    result = read(document)
    assert places(result) == {"1": [1.0, 2.0, 10.0]}
    assert "11.5" in said(result, "elevation-differs")


def test_the_job_may_name_the_attribute() -> None:
    document, space = drawing()
    symbol(document, "PEG", "NUMBER", "ANCHOR")
    insert = space.add_blockref("PEG", (1.0, 2.0, 3.0))
    insert.add_attrib("NUMBER", "1", (1, 2))
    insert.add_attrib("ANCHOR", "A-7", (1, 2))
    assert list(read(document).points.id) == ["1"]
    assert list(read(document, labels=Labels(attribute="anchor")).points.id) == ["A-7"]
    assert len(read(document, labels=Labels(attribute="missing")).points) == 0


def test_the_base_point_of_a_symbol_does_not_move_it() -> None:
    document, space = drawing()
    block = document.blocks.new("OFF", base_point=(5.0, 5.0))
    block.add_point((5.0, 5.0))
    block.add_attdef("ID", (0, 0))
    space.add_blockref("OFF", (100.0, 200.0, 1.0)).add_attrib("ID", "1", (0, 0))
    space.add_blockref("OFF", (300.0, 200.0, 1.0))
    got = places(read(document))
    assert got["1"] == [100.0, 200.0, 1.0]
    (other,) = (place for name, place in got.items() if name != "1")
    assert other == [300.0, 200.0, 1.0]


def test_a_point_in_a_block_takes_the_layer_of_its_reference() -> None:
    document, space = drawing()
    block = document.blocks.new("MARK")
    block.add_point((0.0, 0.0), dxfattribs={"layer": "0"})
    block.add_point((1.0, 0.0), dxfattribs={"layer": "OWN"})
    space.add_blockref("MARK", (10.0, 0.0, 4.0), dxfattribs={"layer": "STAKE"})
    space.add_text("9", dxfattribs={"layer": "STAKE", "insert": (10.2, 0.2)})
    result = read(document)
    assert list(result.points.layer) == ["STAKE", "OWN"]
    assert result.points.id[0] == "9"


def test_an_arrayed_reference_places_every_cell_with_a_name_of_its_own() -> None:
    document, space = drawing()
    block = document.blocks.new("DOT")
    block.add_point((0.0, 0.0, 2.0))
    space.add_blockref(
        "DOT",
        (100.0, 0.0),
        dxfattribs={
            "row_count": 2,
            "column_count": 3,
            "row_spacing": 10.0,
            "column_spacing": 5.0,
            "rotation": 90.0,
            "xscale": 2.0,
        },
    )
    result = read(document)
    assert len(set(result.points.id)) == 6
    got = {(round(e, 9), round(n, 9)) for e, n, _ in places(result).values()}
    assert got == {(100.0 - 10.0 * row, 5.0 * column) for row in (0, 1) for column in (0, 1, 2)}
    assert used_as(result) == {"design point": 1}


def test_a_block_with_several_points_is_a_group_not_a_symbol() -> None:
    document, space = drawing()
    block = document.blocks.new("CORNERS")
    block.add_point((0.0, 0.0, 1.0))
    block.add_point((8.0, 0.0, 1.0))
    space.add_blockref("CORNERS", (10.0, 10.0)).add_attrib("NAME", "house", (0, 0))
    result = read(document)
    assert sorted(result.points.easting_m) == [10.0, 18.0]
    assert "points-in-block" in slugs(result)


def test_mirrored_and_scaled_blocks_are_told() -> None:
    document, space = drawing()
    document.blocks.new("M").add_point((1.0, 0.0, 1.0))
    document.blocks.new("S").add_point((1.0, 0.0, 1.0))
    space.add_blockref("M", (10.0, 0.0), dxfattribs={"xscale": -1})
    space.add_blockref("S", (10.0, 5.0), dxfattribs={"xscale": 2, "yscale": 2})
    result = read(document)
    assert sorted(result.points.easting_m) == [9.0, 12.0]
    assert '"M"' in said(result, "mirrored-block")
    assert '"S"' in said(result, "scaled-block")
    assert '"M"' not in said(result, "scaled-block")


def test_symbols_without_point_or_number_are_told() -> None:
    document, space = drawing()
    symbol(document, "RING")
    for x in (0.0, 10.0):
        space.add_blockref("RING", (x, 0.0), dxfattribs={"layer": "STAKE"})
        space.add_text(f"{x:.0f}", dxfattribs={"layer": "STAKE", "insert": (x, 0.5)})
    result = read(document)
    assert len(result.points) == 0
    assert '"RING"' in said(result, "symbol-without-point")


def test_a_block_that_is_not_there_is_told() -> None:
    document, space = drawing()
    space.add_blockref("GONE", (1.0, 2.0))
    assert '"GONE"' in said(read(document), "missing-block")


def test_an_external_reference_is_told() -> None:
    document, space = drawing()
    document.add_xref_def("grid.dxf", "GRID")
    space.add_blockref("GRID", (0.0, 0.0))
    assert "grid.dxf" in said(read(document), "external-reference")


def test_nesting_without_end_is_refused_by_name() -> None:
    document, space = drawing()
    document.blocks.new("A").add_blockref("B", (0, 0))
    document.blocks.new("B").add_blockref("A", (0, 0))
    space.add_blockref("A", (0, 0))
    with pytest.raises(InputError) as caught:
        read(document)
    (problem,) = caught.value.problems
    assert problem.slug == "block-recursion"
    assert '"A" holds "B" holds "A"' in problem.message


def test_a_recursive_block_that_is_not_placed_does_no_harm() -> None:
    document, space = drawing()
    document.blocks.new("A").add_blockref("A", (0, 0))
    labelled(space, "1", (0.0, 0.0, 1.0))
    assert len(read(document).points) == 1


def test_blocks_nested_too_deep_are_refused() -> None:
    document, space = drawing()
    for level in range(60):
        document.blocks.new(f"L{level}").add_blockref(f"L{level + 1}", (0, 0))
    document.blocks.new("L60").add_point((0, 0))
    space.add_blockref("L0", (0, 0))
    with pytest.raises(InputError) as caught:
        read(document)
    assert caught.value.problems[0].slug == "block-depth"


def test_arrays_that_multiply_are_refused_before_they_are_placed() -> None:
    document, space = drawing()
    grid = {"row_count": 1000, "column_count": 1000, "row_spacing": 1, "column_spacing": 1}
    document.blocks.new("TILE").add_line((0, 0), (1, 1))
    document.blocks.new("FIELD").add_blockref("TILE", (0, 0), dxfattribs=grid)
    space.add_blockref("FIELD", (0, 0), dxfattribs=grid)
    with pytest.raises(InputError) as caught:
        read(document)
    assert caught.value.problems[0].slug == "block-count"
    assert '"FIELD"' in caught.value.problems[0].message


# Linework


def test_linework_is_flattened_within_the_sagitta() -> None:
    document, space = drawing()
    space.add_line((0, 0), (3, 4))
    space.add_circle((0, 0), 10)
    space.add_arc((0, 0), 5, 350, 10)
    space.add_lwpolyline([(0, 0, 0, 0, 1), (10, 0, 0, 0, 0), (10, 10, 0, 0, 0)], close=True)
    space.add_ellipse((0, 0), major_axis=(10, 0), ratio=0.5)
    result = read(document)
    line, circle, arc, poly, ellipse = result.linework
    assert shapely.LineString(line.xy_m).length == 5.0
    assert circle.closed
    radii = np.hypot(*circle.xy_m.T)
    assert np.allclose(radii, 10.0, rtol=0, atol=1e-12)
    middle = np.hypot(*(circle.xy_m + np.roll(circle.xy_m, -1, axis=0)).T / 2)
    assert np.all(10.0 - middle <= SAGITTA_M)
    assert not arc.closed
    assert np.allclose(arc.xy_m[0], (5 * math.cos(math.radians(350)), -5 * math.sin(math.pi / 18)))
    assert np.allclose(arc.xy_m[-1], (5 * math.cos(math.radians(10)), 5 * math.sin(math.pi / 18)))
    assert poly.closed
    assert np.min(poly.xy_m[:, 1]) == pytest.approx(-5.0, abs=SAGITTA_M)
    area = shapely.Polygon(ellipse.xy_m).area
    assert area == pytest.approx(math.pi * 50, rel=2e-3)
    assert area < math.pi * 50


def test_the_sagitta_is_metres_in_any_unit() -> None:
    document, space = drawing()
    space.add_circle((0, 0), 1000)
    by_metre = len(read(document).linework[0].xy_m)
    by_foot = len(read(document, unit=LengthUnit.FOOT).linework[0].xy_m)
    assert by_metre / by_foot == pytest.approx(math.sqrt(1 / 0.3048), rel=0.02)


def test_a_figure_that_repeats_its_first_vertex_is_closed() -> None:
    document, space = drawing()
    space.add_lwpolyline([(0, 0), (5, 0), (5, 0), (5, 5), (0, 0)])
    (figure,) = read(document).linework
    assert figure.closed
    assert figure.xy_m.tolist() == [[0, 0], [5, 0], [5, 5]]


def course(entity: DXFGraphic) -> list[tuple[float, float]]:
    if entity.dxftype() == "LINE":
        places = [entity.dxf.start, entity.dxf.end]
    else:
        places = list(entity.flattening(0.0001))  # type: ignore[attr-defined]
    return [(place.x, place.y) for place in places]


def test_curves_agree_with_the_reference_library() -> None:
    document, space = drawing()
    space.add_spline([(0, 0), (30, 20), (60, -20), (90, 0)])
    space.add_polyline2d([(0, 0, 0, 0, 0.4), (10, 0, 0, 0, -0.7), (20, 5, 0, 0, 0)], format="xyseb")
    space.add_polyline3d([(0, 0, 1), (5, 5, 2), (9, 0, 3)])
    space.add_ellipse((5, 5), (8, 3), 0.3, 0.5, 4.0)
    result = read(document)
    for entity, line in zip(space, result.linework, strict=True):
        # The library's own arcs, ellipses and splines; its paths are Bezier curves, not exact.
        parts = list(entity.virtual_entities()) if isinstance(entity, Polyline) else [entity]
        reference = shapely.MultiLineString([course(part) for part in parts])
        ours = shapely.LineString(line.xy_m)
        assert shapely.hausdorff_distance(reference, ours, densify=0.02) < SAGITTA_M
        assert ours.length == pytest.approx(reference.length, rel=2e-3)


# Accounting


def test_every_entity_is_counted_once() -> None:
    document, space = drawing()
    labelled(space, "1", (0.0, 0.0, 1.0))
    symbol(document)
    space.add_blockref("PEG", (9, 9))
    space.add_blockref("GONE", (9, 9))
    space.add_line((0, 0), (1, 1), dxfattribs={"layer": "EDGE"})
    space.add_3dface([(0, 0), (1, 0), (1, 1), (0, 1)], dxfattribs={"layer": "TIN"})
    space.add_hatch()
    space.add_text("note", dxfattribs={"layer": "NOTES", "insert": (5, 5)})
    space.add_polyline3d([(0, 0, 0), (1, 1, 1)])
    mesh = space.add_polymesh((2, 2))
    mesh.set_mesh_vertex((0, 1), (0, 1, 0))
    mesh.set_mesh_vertex((1, 0), (1, 0, 0))
    mesh.set_mesh_vertex((1, 1), (1, 1, 0))
    document.layout("Layout1").add_line((0, 0), (1, 1))
    result = read(document)
    assert used_as(result) == {
        "design point": 1,
        "label": 1,
        "linework": 3,
        "surface triangle": 2,
        "not used": 3,
        "paper space: left out": 1,
    }
    assert ("TIN", "3DFACE", 1) in {(c.layer, c.kind, c.count) for c in result.counts}


def test_hidden_layers_are_read_and_told() -> None:
    document, space = drawing()
    document.layers.add("COLD").freeze()
    document.layers.add("DARK").off()
    document.layers.add("EMPTY").off()
    labelled(space, "1", (0.0, 0.0, 1.0), layer="COLD")
    labelled(space, "2", (9.0, 0.0, 1.0), layer="DARK")
    result = read(document)
    assert list(result.points.id) == ["1", "2"]
    assert "frozen" in said(result, "hidden-layer")
    assert "off" in said(result, "hidden-layer")
    assert "EMPTY" not in said(result, "hidden-layer")


def test_a_dimension_that_lies_is_told() -> None:
    document, space = drawing()
    for y, text in ((0, "<>"), (5, "12.50"), (9, "12.00"), (12, "see plan")):
        space.add_linear_dim(base=(0, y + 1), p1=(0, y), p2=(12, y), text=text).render()
    result = read(document)
    assert said(result, "dimension-text").count("measures") == 1
    assert '"12.50"' in said(result, "dimension-text")


def test_an_empty_drawing_is_a_drawing() -> None:
    document, _ = drawing()
    result = read(document)
    assert len(result.points) == 0
    assert result.linework == ()
    assert result.counts == ()
    assert result.points.id.shape == (0,)


# Files


def test_binary_and_text_say_the_same(tmp_path: Path) -> None:
    document, space = drawing()
    labelled(space, "101", (618000.25, 512000.5, 100.125))
    space.add_circle((0, 0), 10)
    text = read(document)
    document.saveas(tmp_path / "b.dxf", fmt="bin")
    data = (tmp_path / "b.dxf").read_bytes()
    binary = read(data)
    assert places(binary) == places(text)
    assert binary.version == text.version
    assert binary.header_unit == text.header_unit == "metres"
    assert binary.counts == text.counts
    with pytest.raises(InputError) as caught:
        read(data[: len(data) // 2])
    assert caught.value.problems[0].slug == "drawing-truncated"


@pytest.mark.parametrize("version", ["R12", "R2000", "R2004", "R2007", "R2010", "R2013", "R2018"])
def test_every_version_reads_alike(version: str) -> None:
    document, space = drawing(version)
    labelled(space, "101", (618000.25, 512000.5, 100.125))
    assert places(read(document)) == {"101": [618000.25, 512000.5, 100.125]}


@pytest.mark.parametrize("ending", [b"\r\n", b"\r", b"\n"])
def test_any_line_ending_reads_alike(ending: bytes) -> None:
    document, space = drawing()
    labelled(space, "101", (618000.25, 512000.5, 100.125))
    data = written(document).replace(b"\r\n", b"\n").replace(b"\n", ending)
    assert places(read(data)) == {"101": [618000.25, 512000.5, 100.125]}
    assert "drawing-mended" not in slugs(read(data))


@pytest.mark.parametrize("code", ["utf-8-sig", "utf-16"])
def test_a_byte_order_mark_does_no_harm(code: str) -> None:
    document, space = drawing()
    labelled(space, "101", (618000.25, 512000.5, 100.125))
    data = written(document).decode().encode(code)
    result = read(data)
    assert places(result) == {"101": [618000.25, 512000.5, 100.125]}
    assert result.header_unit == "metres"


@pytest.mark.parametrize(
    ("version", "codec", "told"),
    [
        ("R2000", "cp1252", False),
        ("R2010", "utf-8", False),
        ("R2010", "cp1252", True),  # should be UTF-8 and is not
        ("R2000", "utf-8", True),  # should not be UTF-8 and is
    ],
)
def test_names_beyond_ascii_are_read_however_they_were_written(
    version: str, codec: str, told: bool
) -> None:
    document, space = drawing(version)
    labelled(space, "Nº 7", (1.0, 2.0, 3.0), layer="BÖSCHUNG")
    stream = io.StringIO()
    document.write(stream)
    result = read(stream.getvalue().encode(codec))
    assert list(result.points.id) == ["Nº 7"]
    assert list(result.points.layer) == ["BÖSCHUNG"]
    assert ("encoding" in slugs(result)) == told


def test_coded_characters_are_read() -> None:
    document, space = drawing()
    labelled(space, "PT-A", (1.0, 2.0, 3.0), layer="EDGE")
    data = written(document).replace(b"EDGE", rb"B\U+00D6SCH").replace(b"PT-A", rb"\U+2116 7")
    result = read(data)
    assert list(result.points.id) == ["№ 7"]
    assert list(result.points.layer) == ["BÖSCH"]


def test_what_the_library_logs_becomes_a_notice(capfd: pytest.CaptureFixture[str]) -> None:
    document, space = drawing()
    labelled(space, "1", (0.0, 0.0, 1.0))
    labelled(space, "2", (9.0, 0.0, 1.0))
    first, second = (point.dxf.handle for point in space.query("POINT"))
    data = written(document).replace(f"\n{second}\n".encode(), f"\n{first}\n".encode())
    result = read(data)
    assert sorted(result.points.id) == ["1", "2"]
    assert "mended" in slugs(result)
    assert capfd.readouterr() == ("", "")
    assert logging.getLogger("ezdxf").handlers == []


def test_an_entity_of_a_later_version_is_read_whole_without_a_version() -> None:
    # A square with one rounded side, closed, as small writers leave it: no header at all.
    body = "".join(
        f" 10\n{x}\n 20\n{y}\n"
        for x, y in ((4000000, 0), (4000010, 0), (4000010, 10), (4000000, 10))
    )
    data = (
        "  0\nSECTION\n  2\nENTITIES\n  0\nLWPOLYLINE\n  5\nA1\n100\nAcDbEntity\n  8\nPLOT\n"
        f"100\nAcDbPolyline\n 90\n4\n 70\n1\n{body} 42\n1\n  0\nENDSEC\n  0\nEOF\n"
    )
    result = read(data.encode())
    (figure,) = result.linework
    assert figure.layer == "PLOT"
    assert figure.closed
    assert np.min(figure.xy_m[:, 0]) == pytest.approx(3999995.0, abs=SAGITTA_M)
    assert "version-assumed" in slugs(result)
    assert result.version == ""


def test_mends_are_told_entity_by_entity_and_capped() -> None:
    line = "  0\nLINE\n  5\n\n  8\nEDGE\n 10\n0\n 20\n0\n 11\n1\n 21\n1\n"
    data = f"  0\nSECTION\n  2\nENTITIES\n{line * 80}  0\nENDSEC\n  0\nEOF\n"
    result = read(data.encode())
    assert used_as(result) == {"linework": 80}
    mends = [notice for notice in result.notices if notice.slug == "mended"]
    assert len(mends) == 51
    assert "more" in mends[-1].message
    assert "drawing-mended" in slugs(result)


def test_joined_files_lose_nothing() -> None:
    def section(handle: str, x: float) -> str:
        point = f"  0\nPOINT\n  5\n{handle}\n  8\nP\n 10\n{x}\n 20\n0\n 30\n5\n"
        return f"  0\nSECTION\n  2\nENTITIES\n{point}  0\nENDSEC\n"

    result = read((section("A1", 1.0) + section("A2", 7.0) + "  0\nEOF\n").encode())
    assert sorted(result.points.easting_m) == [1.0, 7.0]
    assert "drawing-mended" in slugs(result)
    assert "lost-entities" not in slugs(result)


def test_a_missing_end_mark_is_told() -> None:
    document, space = drawing()
    labelled(space, "1", (0.0, 0.0, 1.0))
    data = written(document)
    result = read(data[: data.rindex(b"  0")])
    assert list(result.points.id) == ["1"]
    assert "missing-end" in slugs(result)


def test_a_broken_line_is_told_and_counted() -> None:
    document, space = drawing()
    labelled(space, "1", (0.0, 0.0, 1.0))
    line = space.add_line((1, 2), (3, 4), dxfattribs={"layer": "EDGE"})
    line.dxf.end = (math.inf, 0.0)
    result = read(document)
    assert used_as(result)["could not be read"] == 1
    assert f"layer EDGE, LINE handle {line.dxf.handle}" in said(result, "unreadable-entity")


def test_the_same_bytes_give_the_same_drawing() -> None:
    document, space = drawing()
    for i in range(30):
        labelled(space, str(i), (float(i % 6), float(i // 6), 1.0), gap=0.6)
    data = written(document)
    first, second = read(data), read(data)
    assert places(first) == places(second)
    assert first.notices == second.notices
    assert first.counts == second.counts


@pytest.mark.parametrize("share", [0.02, 0.2, 0.5, 0.8, 0.98])
def test_a_file_that_breaks_off_after_its_entities_loses_none(share: float) -> None:
    document, space = drawing("R2000")
    for number in range(8):
        labelled(space, str(number), (10.0 * number, 5.0, 1.0))
    symbol(document)
    space.add_blockref("PEG", (9, 9))
    data = written(document)
    begin, end = data.index(b"OBJECTS"), len(data)
    result = read(data[: begin + int(share * (end - begin))])
    assert len(result.points) == 8
    assert "after all its entities" in said(result, "missing-end")
    assert "lost-entities" not in slugs(result)


def test_a_broken_layout_is_mended_rather_than_emptied() -> None:
    document, space = drawing("R2000")
    for number in range(8):
        labelled(space, str(number), (10.0 * number, 5.0, 1.0))
    lines = written(document).split(b"\n")
    # The dictionary of layouts loses its entries: read straight, model space would be another one.
    at = max(i for i, line in enumerate(lines) if line.strip() == b"ACAD_LAYOUT")
    lines[at] = b"ACAD_LAYOUTS"
    assert len(read(b"\n".join(lines)).points) == 8
