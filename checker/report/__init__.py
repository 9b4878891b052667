"""Findings as pages, plots, tables and files. The only room that imports jinja2 and markdown."""
