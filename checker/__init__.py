"""Stakeout and closure checker: compare as-measured points with design, test closures, report."""

__version__ = "0.1.0"
