"""What a cook sees and does: the lab comes up live, and every control works by hand, by key and by name."""

from __future__ import annotations

import re
import signal
import urllib.error
import urllib.request

import numpy as np
import psutil
import pytest

from .conftest import running_lab, watched_page, write_notebook  # noqa: TID252
