"""What the shop's settings say, in every command and at every machine that shares a queue."""

from dataclasses import replace

import pytest

from calibration.rig import library
from chalkbeam.basics.units import Unit
from chalkbeam.cli.run_options import RunOptions
from chalkbeam.cli.shop_defaults import with_shop
from chalkbeam.presses.places import settings_file
from chalkbeam.presses.settings import read_shop
from tests.support.rigs import demo_rig
from tests.support.run_cli import run_program

QUEUE = ("--record", "sqlite:///queue.db")


@pytest.fixture
def chalkbeam(capsys, monkeypatch):
    return lambda *words: run_program(capsys, monkeypatch, *words)


@pytest.fixture
def at_machine(tmp_path, monkeypatch):
    """Go to another machine: its own data folder."""
    monkeypatch.chdir(tmp_path)
    return lambda name: monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / name))


def say(text):
    there = settings_file()
    there.parent.mkdir(parents=True, exist_ok=True)
    there.write_text(text)


def test_a_run_goes_by_the_shop_where_nobody_has_said_otherwise(tmp_path):
    settings = read_shop('units = "mm"\nconfirm = true\non-top = true\npaper = "a4"', "shop.toml")
    asked = RunOptions(tmp_path / "order.csv", given=frozenset({"on_top"}))
    found = with_shop(asked, settings)
    assert (found.units, found.confirm, found.on_top) == (Unit.MM, True, False)


def test_every_command_goes_by_the_shop_and_what_is_typed_goes_before(chalkbeam):
    asked = ("garment", "show", "--style", "tee", "--size", "M")
    inches = chalkbeam(*asked)
    say('units = "mm"\ntolerance = "3 mm"\n')
    assert chalkbeam(*asked) == chalkbeam(*asked, "--units", "mm") != inches
    assert chalkbeam(*asked, "--units", "in") == inches
    say('units = "ell"')
    code, _, err = chalkbeam(*asked)
    assert code == 2
    assert "line 1 (units)" in err


def test_another_machine_has_the_shops_settings_by_one_command(chalkbeam, at_machine):
    at_machine("left")
    library.keep(replace(demo_rig(), name="left rig"))
    say('record = "sqlite:///queue.db"\nunits = "mm"\n')
    assert "sent: shop.toml" in chalkbeam("exchange")[1]
    at_machine("right")
    library.keep(replace(demo_rig(), name="right rig"))
    code, out, err = chalkbeam("exchange", *QUEUE)
    assert code == 0, err
    assert "fetched: shop.toml" in out
    assert len(library.names()) == 2
    assert library.default() == "right rig"  # as before
    assert "Nothing has changed" in chalkbeam("exchange")[1]  # the address is known by now
    assert "mm" in chalkbeam("garment", "show", "--style", "tee", "--size", "M")[1]
    say('units = "ell"')
    assert chalkbeam("exchange", *QUEUE)[0] == 2  # what nobody can use goes nowhere
