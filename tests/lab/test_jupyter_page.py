"""What JupyterLab is told about its page, and our part of it, run without a browser."""

import json
import subprocess

import pytest

from curelab.lab.assets import joined
from curelab.lab.jupyter_page import _LEFT_OUT

# A page that cannot load the script of a part the first time, and can the second time.
PAGE = """
const page = { fullLabextensionsUrl: 'at', later: [{ name: 'part', load: 'part.js', mimeExtension: './drawn', mimeType: 'a/b' }] };
globalThis.window = globalThis;
let asked = 0;
const drawn = { createRenderer: () => ({ renderModel: async model => console.log(JSON.stringify([asked, model])) }) };
const part = { init() {}, get: async () => () => ({ default: { rendererFactory: drawn } }) };
globalThis.document = {
  getElementById: () => ({ textContent: JSON.stringify(page) }), createElement: () => ({}),
  head: { append(script) { if (asked++) { window._JUPYTERLAB.part = part; script.onload(); } else script.onerror(new Error('no answer')); } },
};
class Panel { widgets = []; addWidget(made) { this.widgets.push(made); } }
"""
DRAWN = """
(async () => {
  const ours = window._JUPYTERLAB.curelab;
  ours.init({ '@lumino/widgets': { 1: { get: async () => () => ({ Panel }) } } });
  const { rendererFactory } = (await ours.get('./mimeExtension'))().default[0];
  await rendererFactory.createRenderer({}).renderModel('first').catch(why => console.log(JSON.stringify([asked, why.message])));
  for (const model of ['second', 'third']) await rendererFactory.createRenderer({}).renderModel(model);
})();
"""


def node():
    """The node that comes with playwright."""
    return pytest.importorskip("playwright._impl._driver").compute_driver_executable()[0]


def test_a_part_that_could_not_be_loaded_is_loaded_with_the_next_figure():
    done = subprocess.run([node(), "-"], input=PAGE + joined("extension.js") + DRAWN, capture_output=True, text=True, timeout=60)  # fmt: skip
    said = [json.loads(line) for line in done.stdout.splitlines()]
    assert said == [[1, "no answer"], [2, "second"], [2, "third"]], done.stderr


def test_each_part_that_is_left_out_is_named_once():
    assert len(set(_LEFT_OUT)) == len(_LEFT_OUT)
