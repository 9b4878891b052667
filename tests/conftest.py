"""What every test shares: how many random examples are tried, and how goldens are refreshed."""

import os
import signal

import pytest
from hypothesis import HealthCheck, settings

# No database: a run leaves nothing in the tree. Derandomised: a green run stays green until the
# code changes; the thorough profile looks further.
settings.register_profile(
    "quick", max_examples=50, deadline=None, database=None, derandomize=True, print_blob=True
)
settings.register_profile(
    "thorough",
    max_examples=1000,
    deadline=None,
    database=None,
    suppress_health_check=[HealthCheck.too_slow],
)
# Whoever starts the tests in the background may have interrupts ignored, and every program that
# they start would inherit that; some of them are there to be interrupted.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

settings.load_profile(os.environ.get("CHECKER_HYPOTHESIS", "quick"))


def pytest_addoption(parser: pytest.Parser) -> None:
    """Let the golden files be written anew; read the difference before it is committed."""
    parser.addoption(
        "--update-golden", action="store_true", help="write tests/golden anew from this run"
    )
