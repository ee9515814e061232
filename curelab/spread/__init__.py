"""How sure an answer is: uncertain inputs, draws of them, bands and probabilities, and what matters most."""

from .draws import Band, Chance, Request, Spread, Times, Windows, quantiles, spread

__all__ = ["Band", "Chance", "Request", "Spread", "Times", "Windows", "quantiles", "spread"]
