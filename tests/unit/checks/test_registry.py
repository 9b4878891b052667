"""Every kind of check that a job may ask for is there under its name."""

from importlib import import_module

import pytest

from checker.checks.registry import CHECKS
from checker.model.job import CheckSection, SiteFit


def test_every_section_has_its_line() -> None:
    # By name: a class with slots is made twice. The site fit comes before all checks, called by
    # the run itself.
    kinds = {kind.__name__ for kind in CheckSection.__subclasses__()}
    assert {kind.__name__ for kind in CHECKS} == kinds - {SiteFit.__name__}


@pytest.mark.parametrize("place", CHECKS.values())
def test_every_line_leads_to_a_check(place: str) -> None:
    module, function = place.split(".")
    assert callable(getattr(import_module(f"checker.checks.{module}"), function))
