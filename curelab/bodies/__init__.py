"""The geometry of a piece: terms, volumes, stiffness, faces and readouts. Nothing in here knows what a piece is made of."""

from .body import Body, Face, layered, of_cells

__all__ = ["Body", "Face", "layered", "of_cells"]
