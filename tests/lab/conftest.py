"""What tests of the lab share."""

import ipywidgets
import pytest

from curelab import outcome
from curelab.lab import state


@pytest.fixture
def few_draws(monkeypatch):
    """Few draws behind every page, for tests to which it does not matter how sure a page is."""
    for module, name, count in (
        (state, "MOVING", 8),
        (state, "QUICK", 8),
        (state, "PAGE_DRAWS", 16),
        (outcome, "REPORT_DRAWS", 16),
    ):
        monkeypatch.setattr(module, name, count)


@pytest.fixture(autouse=True)
def no_page_stays():
    """A page goes with its test: the registry of widgets would keep it, and all its draws, to the end of the run."""
    yield
    ipywidgets.Widget.close_all()
