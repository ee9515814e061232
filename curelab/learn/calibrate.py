"""Measurements and what they tell, under one name: instruments and logs stand in readings.py, the fit in fit.py."""

from .fit import Estimate, Fit, Residual, fit
from .readings import Measurement, from_log, measure, salometer, tasted

__all__ = [
    "Estimate", "Fit", "Measurement", "Residual", "fit", "from_log", "measure", "salometer", "tasted",
]  # fmt: skip
