"""Rotations, screws, lines and planes: pure stacked array maths that knows no suspension word."""
