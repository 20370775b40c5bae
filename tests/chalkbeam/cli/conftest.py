"""A folder with an order, and the program driven by keys under the dummy driver."""

import pytest

from tests.support.crew_order import write_pennant
from tests.support.keys import type_keys
from tests.support.rigs import save_rig
from tests.support.run_cli import run_program
from tests.support.run_command import SHEET, WAY_OUT


@pytest.fixture
def shop(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    save_rig(tmp_path / "rig.json")
    write_pennant(tmp_path / "pennant.png")
    (tmp_path / "crew.csv").write_text(SHEET)
    return tmp_path


@pytest.fixture
def chalkbeam(capsys, monkeypatch):
    """Run the program while keys are typed; return its exit code and what it said."""

    def call(*arguments, keys=WAY_OUT, early=()):
        with monkeypatch.context() as patched:
            type_keys(patched, keys, early)
            patched.setattr("chalkbeam.station.state.BOUNCE", 0.0)
            return run_program(capsys, patched, *arguments)

    return call
