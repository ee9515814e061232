"""Tenderness is told from published rows only, and a skewer stands in every sentence."""

import numpy as np
import pytest

from curelab.matter.tenderness import SKEWER, tenderness


def held(celsius, hours):
    return tenderness([0.0, 600.0, 600.0 + 3600 * hours], np.array([5.0, celsius, celsius]) + 273.15)


@pytest.mark.parametrize(
    ("celsius", "hours", "within", "words"),
    [
        (93, 1, True, "from 85 °C to 93 °C inside. Yours comes to 93 °C"),  # Harris 2017: about 85; Johnston 2023: 93
        (86, 5, None, "Yours comes to 86 °C"),
        (84, 5, False, "chewy"),
        (
            60,
            49,
            True,
            "24 to 48 h at 60 °C. Yours has 49 h",
        ),  # Bouton & Harris: 24 to 48 h at 60 degC for the oldest animals
        (60, 30, None, "Yours has 30 h"),
        (60, 20, False, "or after 24 to 48 h at 60 °C"),
        (58, 60, False, "chewy"),
    ],
)
def test_published_rows(celsius, hours, within, words):
    found = held(celsius, hours)
    assert found.within is within and words in found.sentence and SKEWER in found.sentence and found.source


def test_bad_times():
    for times, kelvin in (([0.0], [300.0]), ([0, 0], [300, 300]), ([0, 1], [300])):
        with pytest.raises(ValueError, match="one temperature for each"):
            tenderness(times, kelvin)
