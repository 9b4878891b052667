"""Drawings that nobody here wrote, where they are at hand: beside the repository, in shared/corpus.

Sources and licences are listed in the index beside them; nothing of them is kept in the project.
Without them the tests are skipped. Entities are counted independently, by the general reference
library for the format.
"""

from pathlib import Path

import ezdxf
import ezdxf.recover
import numpy as np
import pytest

from checker.errors import InputError
from checker.model.drawing import Drawing
from checker.model.job import Labels
from checker.read.drawing import read_drawing
from checker.read.files import Source
from checker.units import LengthUnit

CORPUS = Path(__file__).resolve().parents[4] / "shared" / "corpus"
FILES = sorted(CORPUS.glob("*.dxf"))
REFUSED = {"24_insert-recursive-pair.dxf": "block-recursion"}


def read(path: Path) -> Drawing:
    source = Source(path=path.name, data=path.read_bytes())
    return read_drawing(source, unit=LengthUnit.METRE, labels=Labels())


def named(part: str) -> Drawing:
    for path in FILES:
        if part in path.name:
            return read(path)
    pytest.skip(f"{part} is not beside the repository, in shared/corpus")


@pytest.mark.skipif(not FILES, reason="there are no drawings beside the repository")
@pytest.mark.parametrize("path", FILES, ids=[path.name[:24] for path in FILES])
def test_every_entity_is_read_or_reported(path: Path) -> None:
    if path.name in REFUSED:
        with pytest.raises(InputError) as caught:
            read(path)
        assert {problem.slug for problem in caught.value.problems} == {REFUSED[path.name]}
        return
    result = read(path)
    try:
        document = ezdxf.readfile(path)  # type: ignore[attr-defined]
    except (ValueError, ezdxf.DXFStructureError):  # type: ignore[attr-defined]
        document, _ = ezdxf.recover.readfile(path)
    present = len(document.modelspace())
    counted = sum(c.count for c in result.counts if not c.used_as.startswith("paper space"))
    assert counted == present
    assert all(np.isfinite(line.xy_m).all() for line in result.linework)
    assert np.isfinite(result.points.easting_m).all()
    assert all(result.points.id)


def test_tilted_and_mirrored_figures_lie_where_the_reference_puts_them() -> None:
    # ocs2wcs1: the same figures drawn in the world and in entity systems; four POINTs in the world.
    result = named("ocs2wcs1")
    document = ezdxf.readfile(CORPUS / "20_ocs2wcs1.dxf")  # type: ignore[attr-defined]
    places = [point.dxf.location for point in document.modelspace().query("POINT")]
    assert np.allclose(result.points.easting_m, [place.x for place in places])
    assert np.allclose(result.points.northing_m, [place.y for place in places])


def test_a_closed_bulged_figure_without_a_version_keeps_layer_and_closure() -> None:
    result = named("closed_polyline_with_bulge")
    (figure,) = result.linework
    assert figure.closed
    assert figure.layer == "test"
    assert result.header_unit == ""


def test_a_header_in_inches_is_told_not_obeyed() -> None:
    result = named("houses_of_parliament")
    assert result.header_unit == "inches"
    assert "header-unit" in {notice.slug for notice in result.notices}


def test_figures_that_repeat_their_first_vertex_are_closed() -> None:
    result = named("leaflet-dxf")
    assert sum(line.closed for line in result.linework) >= 448


def test_hidden_layers_and_clips_are_told() -> None:
    assert "hidden-layer" in {notice.slug for notice in named("frozen-off").notices}
    assert "clipped-block" in {notice.slug for notice in named("xclip").notices}
