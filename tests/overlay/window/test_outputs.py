"""Which displays the system lists, against stand-ins for the system's own answers."""

import ctypes
from types import SimpleNamespace

import pytest

from overlay.window import outputs
from overlay.window.outputs import Output, listing_for, randr_outputs

LAPTOP = Output("eDP-1", (0, 0), (1366, 768))
PROJECTOR = Output("HDMI-1", (1366, 0), (1920, 1080))


class Server:
    """Answers as an X server's RandR extension: sockets with (name, connection, picture)."""

    EDP, HDMI, VGA = 65, 66, 67

    def __init__(self, primary=EDP):
        self.primary = primary
        self.sockets = {
            self.EDP: ("eDP-1", 0, (0, 0, 1366, 768)),
            self.HDMI: ("HDMI-1", 0, (1366, 0, 1920, 1080)),
            self.VGA: ("VGA-1", 1, None),
        }

    def has_extension(self, name):
        return name == "RANDR"

    def screen(self):
        return SimpleNamespace(root=self)

    def xrandr_get_screen_resources_current(self):
        return SimpleNamespace(outputs=list(self.sockets), config_timestamp=7)

    def xrandr_get_output_primary(self):
        return SimpleNamespace(output=self.primary)

    def xrandr_get_output_info(self, output, stamp):
        name, connection, picture = self.sockets[output]
        crtc = output + 100 if picture else 0
        return SimpleNamespace(name=name, connection=connection, crtc=crtc)

    def xrandr_get_crtc_info(self, crtc, stamp):
        x, y, width, height = self.sockets[crtc - 100][2]
        return SimpleNamespace(x=x, y=y, width=width, height=height)


def test_an_x_server_lists_what_is_lit_the_primary_first():
    assert randr_outputs(Server()) == (LAPTOP, PROJECTOR)
    assert randr_outputs(Server(primary=Server.HDMI)) == (PROJECTOR, LAPTOP)


@pytest.mark.parametrize(
    "socket",
    [
        ("HDMI-1", 0, None),  # switched off by the desktop once the cable was out
        ("HDMI-1", 1, (1366, 0, 1920, 1080)),  # cable out, and no desktop that does it
    ],
)
def test_a_socket_without_a_cable_or_a_picture_is_not_listed(socket):
    server = Server()
    server.sockets[Server.HDMI] = socket
    assert randr_outputs(server) == (LAPTOP,)


def test_what_goes_wrong_while_asking_is_no_list_and_no_error(monkeypatch):
    def broken(*_):
        raise ConnectionResetError

    server = Server()
    listing = outputs._XServer(lambda: server)
    assert listing() == (LAPTOP, PROJECTOR)
    monkeypatch.setattr(server, "xrandr_get_crtc_info", broken)
    assert listing() is None
    assert outputs._XServer(broken)() is None
    monkeypatch.setattr(Server, "has_extension", lambda *_: False)
    assert outputs._XServer(Server)() is None


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")  # its own socket
def test_no_x_server_is_no_list(monkeypatch):
    monkeypatch.setenv("DISPLAY", ":9999")
    assert listing_for("x11")() is None


class Library:
    """Answers as Quartz Display Services do for two displays, the second one the main one."""

    PLACES = {1: (1440.0, 0.0, 1920.0, 1080.0), 2: (0.0, 0.0, 1440.0, 900.0)}  # noqa: RUF012

    def __init__(self, error=0):
        self.error = error

        def bounds(number):
            return outputs._Rectangle(*self.PLACES[number.value])

        self.CGDisplayBounds = bounds  # a function: it takes a `restype`

    def CGGetActiveDisplayList(self, most, numbers, count):  # noqa: N802 - Apple's name
        numbers[0], numbers[1] = 1, 2
        ctypes.cast(count, ctypes.POINTER(ctypes.c_uint32))[0] = 2
        return self.error

    def CGMainDisplayID(self):  # noqa: N802 - Apple's name
        return 2


def test_a_mac_lists_its_displays_the_main_one_first():
    assert outputs._Quartz(Library())() == (
        Output("2", (0, 0), (1440, 900)),
        Output("1", (1440, 0), (1920, 1080)),
    )
    assert outputs._Quartz(Library(error=1001))() is None


def test_a_mac_that_cannot_be_asked_is_no_list(monkeypatch):
    assert outputs._Quartz(object())() is None  # a library without the functions
    monkeypatch.setattr(outputs.ctypes.util, "find_library", lambda _: "/none/CoreGraphics")
    assert outputs._Quartz()() is None  # one that cannot be loaded


def test_where_the_window_library_is_told_itself_nothing_is_asked():
    assert listing_for("windows")() is None
    assert listing_for("dummy")() is None
