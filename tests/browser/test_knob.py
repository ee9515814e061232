"""The number beside a slider, opened from a file without a lab: as many figures as its step needs, and all of them seen."""

from __future__ import annotations

import json

import pytest

from curelab.lab.knob import Knob

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("value, shown", [(0.0, "0"), (0.5, "0.5"), (0.0625, "0.0625")])
def test_a_fine_step_brings_no_zeros_and_nothing_is_clipped(stage, tmp_path, value, shown):
    knob = Knob("Fat", value, 0, 1, 0.0625, unit="in")
    parts = {name: getattr(knob, name) for name in ("label", "value", "min", "max", "step", "unit", "help", "disabled")}
    script = knob._esm.replace("export default { render };", "")
    place = tmp_path / "page.html"
    place.write_text(
        f"""<!doctype html><meta charset="utf-8"><style>{knob._css}</style><div id="here"></div><script type="module">{script}
const parts = {json.dumps(parts)}; render({{ model: {{ get: name => parts[name], on() {{}}, off() {{}} }}, el: document.getElementById('here') }});
</script>""",
        encoding="utf-8",
    )
    with stage.watched_page(width=400, height=300) as page:
        page.goto(place.as_uri())
        number = page.get_by_role("spinbutton")
        assert (
            number.input_value() == shown
            and page.get_by_role("slider").get_attribute("aria-valuetext") == f"{shown} in"
        )
        assert number.evaluate("each => each.scrollWidth <= each.clientWidth")
        assert page.problems == []
