"""Make the README's picture: `python tests/browser/picture.py` opens the lab as a cook would and writes notebooks/lab.png."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def main() -> None:
    from conftest import (
        running_browser,
        running_lab,
    )  # the folder of this script comes first on the path when it is run

    with (
        tempfile.TemporaryDirectory() as folder,
        running_lab(None, Path(folder)) as (address, _),
        running_browser() as browser,
    ):
        shutil.copy(ROOT / "datasets" / "demo_uneven.toml", Path(folder) / "my-batch.toml")
        page = browser.new_page(viewport={"width": 1280, "height": 800}, device_scale_factor=0.75)
        page.goto(address.replace("start.ipynb", "thick_point.ipynb"))
        page.wait_for_selector("[data-revision]", timeout=180_000)
        page.wait_for_timeout(3000)
        page.get_by_text("This shape is new").first.wait_for(state="hidden", timeout=120_000)
        page.wait_for_timeout(9000)  # until all draws stand behind the bands
        page.screenshot(path=ROOT / "notebooks" / "lab.png")


if __name__ == "__main__":
    main()
