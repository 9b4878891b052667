"""Makers of small jobs for the tests."""
