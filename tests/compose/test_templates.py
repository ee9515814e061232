"""Six invented templates: each can be read, is marked as invented, meets no failing check, and begins a file of its own."""

import pytest
from handful import handful

from curelab.__main__ import main
from curelab.batch import load
from curelab.compose import TEMPLATES, cure_by, template, template_text
from curelab.outcome import run
from curelab.show.dangers import failing, failing_as_written
from curelab.sources import datasets_folder

pytestmark = pytest.mark.usefixtures("few_reports")


def test_every_template_of_the_datasets_is_offered():
    assert sorted(TEMPLATES.values()) == sorted(path.name for path in datasets_folder().glob("template_*.toml"))
    assert len(TEMPLATES) == 6


@pytest.mark.parametrize("name", handful(TEMPLATES, [name for name in TEMPLATES if name != "simmered and smoked"]))
def test_a_template_is_marked_as_invented_and_no_check_of_it_fails(name):
    batch = template(name)
    assert batch.invented and batch.note.startswith("Invented figures:") and batch.name.startswith("Template: ")
    assert "invented" in template_text(name).splitlines()[0] and "CAUTION" in template_text(name)
    assert not list(failing(failing_as_written(batch)))
    outcome = run(batch)
    assert [verdict.name for verdict in outcome.verdicts if verdict.outcome == "fail"] == []


def test_the_command_begins_with_a_template(tmp_path, capsys):
    new = tmp_path / "mine.toml"
    assert main(["new", str(new), "--template", "belly"]) == 0
    made = load(new)
    assert made.but(id="") == template("belly") and len(made.id) == 8
    assert "invented" in capsys.readouterr().out
    assert main(["new", str(tmp_path / "other.toml"), "--template", "bely"]) == 2
    assert 'did you mean "belly"?' in capsys.readouterr().err and not (tmp_path / "other.toml").exists()
    assert main(["new", str(new), "--template", "loin"]) == 2 and load(new) == made  # never over a file that is there
    assert main(["new", str(tmp_path / "plain.toml")]) == 0


def test_a_way_of_curing_goes_back_to_its_template():
    for way in ("equilibrium brine", "sealed dry cure"):
        batch = template(way)
        assert cure_by(batch, way) == batch
