"""`chalkbeam page`, and `chalkbeam` alone: what is said and opened; the page has its own tests."""

from __future__ import annotations

import webbrowser

import pytest

from calibration.rig import library
from chalkbeam.simulator import demo
from chalkbeam.web.server import PageServer
from chalkbeam.web.workshop import Workshop
from tests.support.rigs import make_rig
from tests.support.run_cli import run_program


@pytest.fixture
def opened(monkeypatch):
    """Addresses that a browser was opened at; the page itself is not served."""
    addresses: list[str] = []
    monkeypatch.setattr(webbrowser, "open", addresses.append)
    monkeypatch.setattr(PageServer, "run", lambda server: server.stop())
    return addresses


def test_the_page_is_opened_here_with_a_key_in_the_fragment(opened, capsys, monkeypatch):
    code, out, err = run_program(capsys, monkeypatch, "page", "--port", "0")
    assert code == 0
    (address,) = opened
    assert address.startswith("http://127.0.0.1:")
    assert "/pair#key=" in address
    assert address in out
    assert "open Devices on the page" in err


def test_shared_it_gives_a_code_for_a_phone(opened, capsys, monkeypatch):
    code, out, _ = run_program(capsys, monkeypatch, "page", "--port", "0", "--share")
    assert code == 0
    assert "the code " in out


def test_no_browser_is_opened_where_none_is_wanted(opened, capsys, monkeypatch):
    run_program(capsys, monkeypatch, "page", "--port", "0", "--no-browser")
    assert opened == []


def test_alone_the_program_serves_the_page(capsys, monkeypatch):
    called: list[bool] = []
    monkeypatch.setattr("chalkbeam.cli.commands.page.serve_page", lambda: called.append(True))
    code, _, _ = run_program(capsys, monkeypatch)
    assert (code, called) == (0, [True])


def test_a_port_that_is_taken_is_told(opened, workshop_port, capsys, monkeypatch):
    code, _, err = run_program(capsys, monkeypatch, "page", "--port", str(workshop_port))
    assert code == 2
    assert f"The page cannot be served at port {workshop_port}" in err


@pytest.fixture
def workshop_port():
    import socket

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        yield taken.getsockname()[1]


def test_the_demo_says_how_to_see_the_page(capsys, monkeypatch, tmp_path):
    monkeypatch.setattr(demo, "run", lambda *given: (make_rig(), []))
    code, out, _ = run_program(capsys, monkeypatch, "demo", "--out", tmp_path)
    assert code == 0
    assert "PAGE=1" in out


def test_the_demo_s_page_has_a_shop_of_its_own(opened, capsys, monkeypatch, tmp_path):
    home = Workshop.of_user().data
    monkeypatch.setattr(demo, "run", lambda *given: (make_rig(), []))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "home"))  # put back afterwards
    command = ("demo", "--page", "--port", "0", "--out", tmp_path)
    code, _, _ = run_program(capsys, monkeypatch, *command)
    assert (code, len(opened)) == (0, 1)
    shop = Workshop.of_user()
    assert shop.data.is_relative_to(tmp_path / "shop")
    assert library.default() == "bench press"
    (sheet,) = shop.orders.glob("*/*.csv")
    sheet.write_text("worked on")
    run_program(capsys, monkeypatch, *command)
    assert sheet.read_text() == "worked on"
    assert not (home / "orders").exists()
