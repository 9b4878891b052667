"""Plane, line and surface geometry in pure numpy: metres and radians in, metres and radians out."""
