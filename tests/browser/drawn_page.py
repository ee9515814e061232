"""A picture on a page of its own, opened from a file, without a lab."""

from __future__ import annotations

import base64
import json
from typing import Any

CAPTION = "An invented batch. Assumed: nothing melts. curelab 0.0.0."


def page_of(widget: Any) -> str:
    """A page with one picture, drawn by the widget's own script from what Python sent."""
    data = {
        "meta": widget.meta,
        "height": widget.height,
        "frame": base64.b64encode(widget.frame).decode(),
        "caption": CAPTION,
    }
    script = widget._esm.replace("export default { render };", "")
    return f"""<!doctype html><meta charset="utf-8"><style>body {{ margin: 8px; }} {widget._css}</style><div id="here"></div>
<script type="application/json" id="data">{json.dumps(data).replace("<", chr(92) + "u003c")}</script>
<script type="module">{script}
const data = JSON.parse(document.getElementById('data').textContent), bytes = Uint8Array.from(atob(data.frame), letter => letter.charCodeAt(0));
const parts = {{ ...data, frame: new DataView(bytes.buffer), revision: 1, problem: '' }};
render({{ model: {{ get: name => parts[name], on() {{}}, off() {{}} }}, el: document.getElementById('here') }});
</script>"""
