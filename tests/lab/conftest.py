"""What tests of the lab share."""

import asyncio

import ipywidgets
import pytest


@pytest.fixture(autouse=True)
def no_page_stays():
    """A page goes with its test: the registry of widgets would keep it, and all its draws, to the end of the run."""
    yield
    ipywidgets.Widget.close_all()


@pytest.fixture(autouse=True)
def no_loop_of_another():
    """A browser that was driven in this process has left its loop running, and a page would take it for the one of its kernel."""
    running = asyncio._get_running_loop()
    asyncio._set_running_loop(None)
    yield
    asyncio._set_running_loop(running)


@pytest.fixture(autouse=True)
def quick_pages(few_draws):
    """Pages have few draws behind them, where a test does not ask for all."""
