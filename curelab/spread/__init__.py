"""How sure an answer is: uncertain inputs, draws of them, bands and probabilities, and what matters most."""

from .answers import Band, Chance, Times, Windows, quantiles
from .spread import Request, Spread, spread

__all__ = ["Band", "Chance", "Request", "Spread", "Times", "Windows", "quantiles", "spread"]
