"""The geometry of a piece: terms, volumes, stiffness, faces and readouts. Nothing in here knows what a piece is made of."""

from .body import Body, Face, layered, of_cells
from .outline import Outline
from .solid import Solid, solid

__all__ = ["Body", "Face", "Outline", "Solid", "layered", "of_cells", "solid"]
