"""The page opened to the shop's network and closed again, while it is served.

All of 127.0.0.0/8 is this machine (RFC 1122, 3.2.1.3): 127.0.0.2 stands for its address in the
network, which what is bound to 127.0.0.1 does not hear.
"""

from __future__ import annotations

import http.client
import socket
import sys
from contextlib import closing

import pytest

from calibration.refusal import Refusal
from chalkbeam.web import settings
from chalkbeam.web.doors import Right
from chalkbeam.web.pairing import Devices
from chalkbeam.web.security import COOKIE
from chalkbeam.web.server import PageServer
from chalkbeam.web.settings import WebSettings

pytestmark = pytest.mark.skipif(sys.platform == "darwin", reason="there 127.0.0.2 is not set up")

NETWORK = "127.0.0.2"


@pytest.fixture
def network(monkeypatch):
    monkeypatch.setattr(settings, "on_network", lambda: NETWORK)


def elsewhere(served):
    """Return a connection to the page as another device makes it."""
    port = served.settings.port
    return http.client.HTTPConnection(NETWORK, port, timeout=10, source_address=("127.0.0.3", 0))


def from_elsewhere(served, host=NETWORK, **headers):
    """Return the status that another device gets."""
    with closing(elsewhere(served)) as made:
        made.request("GET", "/pair", headers={"host": f"{host}:{served.settings.port}", **headers})
        return made.getresponse().status


def test_the_page_is_opened_by_a_button_with_a_code_and_closed_by_another(ask, served, network):
    with pytest.raises(ConnectionRefusedError):
        from_elsewhere(served)
    text = ask("/devices/share", form={"on": "1", "right": "press"}).text
    assert f"http://{NETWORK}:{served.settings.port}/" in text
    assert 'class="digits"' in text
    assert "<svg" in text
    assert from_elsewhere(served) == 200
    assert from_elsewhere(served, host="evil.example") == 421
    assert "Close it to this computer again" in ask("/devices").text

    with closing(elsewhere(served)) as held:
        held.connect()
        ask("/devices")  # by now it is taken in
        answer = ask("/devices/share", form={}).text
        assert held.sock.recv(1) == b""  # who was in from elsewhere is out at once
    assert "is open to this computer only" in answer
    with pytest.raises(ConnectionRefusedError):
        from_elsewhere(served)
    assert ask("/devices").status == 200  # who is here stays in


@pytest.mark.parametrize("right", [Right.SEE, Right.PRESS, None])
def test_who_may_not_do_everything_opens_nothing(ask, served, network, right):
    assert ask("/devices/share", form={"on": "1"}, right=right).status in (401, 403)
    assert not served.settings.shared


def test_in_no_network_it_says_so_and_stays_shut(ask, served, monkeypatch):
    monkeypatch.setattr(settings, "on_network", lambda: settings.HERE)
    answer = ask("/devices/share", form={"on": "1"})
    assert answer.status == 400
    assert "This computer is in no network" in answer.text
    assert not served.settings.shared


def test_where_the_port_is_taken_there_all_stays_as_it_was(ask, served, network):
    with closing(socket.socket()) as other:
        other.bind((NETWORK, served.settings.port))
        other.listen()
        answer = ask("/devices/share", form={"on": "1"})
        assert "cannot be served at port" in answer.text
    assert not served.settings.shared
    assert ask("/devices").status == 200
    with pytest.raises(ConnectionRefusedError):
        from_elsewhere(served)


def test_it_is_open_the_next_day_too_and_devices_stay_in(ask, served, workshop, network):
    ask("/devices/share", form={"on": "1"})
    secret = served.app.state.devices.add("tablet", Right.PRESS)
    server = PageServer(workshop, WebSettings(port=0))
    server.start()
    try:
        assert server.settings.shared
        cookie = {"cookie": f"{COOKIE}={secret}"}
        assert from_elsewhere(server, **cookie) == 200
    finally:
        server.stop()


def test_a_damaged_file_of_devices_opens_nothing(tmp_path):
    for text in ('{"shared": 1, "devices": []}', '{"shared": true}', "[]", ""):
        (tmp_path / "devices.json").write_text(text)
        assert not Devices(tmp_path / "devices.json").shared


def test_the_page_beside_a_run_takes_it_up(workshop):
    Devices(workshop.data / "devices.json").share(True)
    try:
        server = PageServer(workshop, WebSettings(port=0))
    except Refusal:
        pytest.skip("no port is free")
    assert server.settings.shared
    server.stop()
