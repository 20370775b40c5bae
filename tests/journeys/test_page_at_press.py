"""The program's own processes: light, page, taps; the page's server killed on the way."""

from __future__ import annotations

import os
import signal
import sys

import pytest

from tests.support.crew_order import write_pennant
from tests.support.page_run import Run, entered, when_ready
from tests.support.run_command import SHEET
from tests.support.until import PATIENCE, until

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(sys.platform != "linux", reason="looks for the server in /proc"),
]


def again(state, holds):
    """Ask until what is asked for has come."""

    def asked():
        try:
            return now if holds(now := state()) else None
        except OSError:
            return None

    return until(asked, pause=0.1)


def test_a_killed_server_comes_back_and_the_run_has_not_noticed(tmp_path):
    write_pennant(tmp_path / "pennant.png")
    (tmp_path / "crew.csv").write_text(SHEET)
    run = Run(tmp_path, "--page", "--no-browser", "--port", "0", sheet=tmp_path / "crew.csv")
    try:
        client = entered(run.opened())
        first = when_ready(client)
        assert (first["heading"], first["step"]) == ("press 1 of 3 · piece 2-1", "load")
        assert client.tap("on", first["number"]) == 200
        laid = again(client.state, lambda now: now["step"] == "lay")

        os.kill(run.server(), signal.SIGKILL)
        # The browser is let in still, at the same address.
        back = again(client.state, lambda now: now["ready"])
        assert back["number"] == laid["number"]
        assert client.tap("on", first["number"]) == 409
        assert client.tap("on", back["number"]) == 200
        pressing = again(client.state, lambda now: now["step"] == "press")
        assert 11.0 < pressing["left"] <= 12.0  # s, as the sheet has it

        assert client.tap("leave", pressing["number"]) == 200
        asked = again(client.state, lambda now: now["number"] != pressing["number"])
        client.tap("leave", asked["number"])
        assert run.process.wait(timeout=PATIENCE) == 0
        assert "0 of 3 imprints pressed" in run.process.stdout.read()
    finally:
        run.end()
