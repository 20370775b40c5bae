"""The window under SDL's dummy driver, driven by posted events."""

import gc
import os
import subprocess
import sys
import threading
import time

import numpy as np
import pygame
import pytest

from calibration.refusal import Refusal
from overlay.window import run as window
from overlay.window.displays import Screen
from overlay.window.inputs import Closed, DisplayBack, DisplayLost, Key, Pointer, Tick
from overlay.window.outputs import Output
from overlay.window.run import choose_display, displays, run

SIZE = (320, 180)


def desktops(monkeypatch, *sizes):
    """Make pygame list these displays."""
    monkeypatch.setattr(pygame.display, "get_desktop_sizes", lambda: list(sizes))


def key_down(key, mod=0, text=""):
    return pygame.event.Event(pygame.KEYDOWN, key=key, mod=mod, unicode=text)


def key_up(key):
    return pygame.event.Event(pygame.KEYUP, key=key, mod=0)


def collect(*events, until=None, screen=None, due=lambda state: None):
    """Run a window that takes down its inputs, posting events one after another."""
    count = len(events) if until is None else until
    waiting = list(events)

    def view(state):
        if waiting and len(state) >= len(events) - len(waiting):
            pygame.event.post(waiting.pop(0))

    def update(state, happened):
        return (*state, happened)

    return run(
        (), screen or Screen(SIZE), update=update, view=view,
        done=lambda state: len(state) >= count, due=due,
    )  # fmt: skip


def test_keys_arrive_by_what_is_written_on_them():
    seen = collect(
        key_down(pygame.K_PAGEDOWN),
        key_down(pygame.K_KP5, text="5"),
        key_down(pygame.K_a, mod=pygame.KMOD_LSHIFT, text="A"),
        key_down(pygame.K_q, mod=pygame.KMOD_LCTRL, text="\x11"),
        key_down(pygame.K_KP_ENTER, text="\r"),
    )
    assert [(k.name, k.shift, k.control, k.text) for k in seen] == [
        ("page down", False, False, ""),
        ("5", False, False, "5"),
        ("a", True, False, "A"),
        ("q", False, True, ""),
        ("return", False, False, ""),
    ]
    assert all(key.at > 0 for key in seen)


def test_held_keys_repeat_until_they_are_let_go():
    held, waiting = [], [
        key_down(pygame.K_SPACE), key_down(pygame.K_SPACE), key_up(pygame.K_SPACE),
        key_down(pygame.K_SPACE),
    ]  # fmt: skip

    def view(state):
        for event in waiting:
            pygame.event.post(event)
        waiting.clear()

    def update(state, happened):
        held.append(happened.repeated)
        return state + 1

    run(0, Screen(SIZE), update=update, view=view, done=lambda state: state >= 3)
    assert held == [False, True, False]


def test_mouse_arrives_in_pixels_of_the_picture():
    seen = collect(
        pygame.event.Event(pygame.MOUSEMOTION, pos=(10, 20), rel=(1, 1), buttons=(0, 0, 0)),
        pygame.event.Event(pygame.MOUSEBUTTONDOWN, pos=(11, 21), button=1),
        pygame.event.Event(pygame.MOUSEBUTTONUP, pos=(12, 22), button=1),
    )
    assert [(p.pixel, p.pressed, p.clicked) for p in seen if isinstance(p, Pointer)] == [
        ((10.0, 20.0), False, False),
        ((11.0, 21.0), True, True),
        ((12.0, 22.0), False, False),
    ]


def test_a_key_waits_for_one_step_of_what_is_got_ready_and_no_more():
    """It is gone on with while nothing happens; what a new picture asks for takes its place."""
    done, post = [], []

    def works(state):
        for number in range(1000):
            done.append((state, number))
            if number in (3, 6):
                post[0](Key("a", at=1.0))
            yield

    wanted = {0: works(0), 2: works(2)}
    run(
        0, Screen(SIZE), update=lambda state, _: state + 1, view=lambda state: None,
        done=lambda state: state == 3, ahead=lambda state: wanted.pop(state, None),
        listen=post.append,
    )  # fmt: skip
    # The second picture asks for nothing: what was begun is gone on with.
    assert done == [*((0, number) for number in range(7)), *((2, number) for number in range(4))]


def test_closing_the_window_is_told():
    (closed,) = collect(pygame.event.Event(pygame.QUIT))
    assert isinstance(closed, Closed)


def test_wakes_when_asked_to():
    start = time.monotonic()
    (tick,) = collect(until=1, due=lambda state: start + 0.05)
    assert isinstance(tick, Tick)
    assert tick.at >= start + 0.05


def test_what_a_window_set_aside_is_looked_through_again_whatever_ends_it():
    def broken(state, happened):
        raise LookupError

    gc.unfreeze()
    with pytest.raises(LookupError):
        run(
            (), Screen(SIZE), update=broken, view=lambda state: None,
            done=lambda state: False, due=lambda state: time.monotonic(),
        )  # fmt: skip
    assert gc.get_freeze_count() == 0


def test_inputs_from_another_thread_are_passed_on():
    given = []

    def listen(post):
        given.append(post)
        threading.Timer(0.02, post, [Key("x", at=3.0)]).start()

    seen = run(
        (),
        Screen(SIZE),
        update=lambda state, happened: (*state, happened),
        view=lambda state: None,
        done=lambda state: len(state) == 1,
        listen=listen,
    )
    assert seen == (Key("x", at=3.0),)
    given[0](Key("x"))  # nobody is left to tell: nothing happens


def test_draws_only_new_frames(monkeypatch):
    frames = [np.full((180, 320, 3), level, dtype=np.uint8) for level in (0, 90)]
    flips = []

    def flip():
        flips.append(pygame.display.get_surface().get_at((5, 5))[:3])

    monkeypatch.setattr(pygame.display, "flip", flip)
    shown = [frames[0], frames[0], frames[1], frames[1], None, None]
    waiting = [key_down(pygame.K_a) for _ in shown]

    def view(state):
        if waiting:
            pygame.event.post(waiting.pop())
        return shown[min(state, len(shown) - 1)]

    run(0, Screen(SIZE), update=lambda s, h: s + 1, view=view, done=lambda s: s >= len(shown))
    assert flips == [(0, 0, 0), (90, 90, 90), (0, 0, 0)]


@pytest.mark.parametrize("display", [None, 1])
def test_frame_reaches_the_screen_in_the_right_colours(display):
    width, height = displays()[0].size
    size = SIZE if display is None else (width, height)
    frame = np.zeros((size[1], size[0], 3), dtype=np.uint8)
    frame[20:40, 50:70] = (255, 128, 1)  # BGR
    seen = []

    def update(state, happened):
        seen.append(pygame.display.get_surface().get_at((60, 30))[:3])
        return True

    def view(state):
        pygame.event.post(key_down(pygame.K_a))
        return frame

    run(False, Screen(size, display), update=update, view=view, done=lambda state: state)
    assert seen[0] == (1, 128, 255)


@pytest.mark.parametrize("desktop", [(1024, 768), (801, 601), (643, 1000), (2048, 1000)])
def test_window_smaller_than_the_picture_shows_all_of_it(monkeypatch, desktop):
    """A preview on a small display: scaled, and the mouse still points at picture pixels."""
    desktops(monkeypatch, desktop)
    frame = np.zeros((1080, 1920, 3), dtype=np.uint8)
    colours = [(250, 2, 1), (3, 251, 5), (7, 9, 252), (255, 255, 255)]  # BGR, in quarters
    for quarter, colour in enumerate(colours):
        frame[540:, 480 * quarter : 480 * (quarter + 1)] = colour
    seen = []

    def update(state, happened):
        seen.append(pygame.surfarray.array3d(pygame.display.get_surface()))
        return happened if isinstance(happened, Pointer) else None

    def view(state):
        width, height = pygame.display.get_surface().get_size()
        assert width < desktop[0]
        pygame.event.post(
            pygame.event.Event(
                pygame.MOUSEMOTION, pos=(width - 1, height - 1), rel=(1, 1), buttons=(0, 0, 0)
            )
        )
        return frame

    last = run(None, Screen((1920, 1080)), update=update, view=view, done=bool)
    width, height, _ = seen[0].shape
    assert np.abs(seen[0][:, : height // 2 - 1]).max() == 0
    for quarter, colour in enumerate(colours):
        inside = slice(width * quarter // 4 + 2, width * (quarter + 1) // 4 - 2)
        assert (seen[0][inside, height // 2 + 2 :, ::-1] == colour).all()
    assert 1920 - 1920 / width < last.pixel[0] < 1920
    assert 1080 - 1080 / height < last.pixel[1] < 1080


def test_a_picture_the_system_would_scale_is_refused(monkeypatch):
    desktops(monkeypatch, SIZE)  # the dummy driver opens its own size whatever is listed
    with pytest.raises(Refusal, match=r"Display 1 shows \d+x\d+ and the rig was made for 320x180"):
        run(0, Screen(SIZE, 1), update=None, view=lambda s: None, done=lambda s: True)


def test_lists_and_chooses_displays(monkeypatch):
    desktops(monkeypatch, (1366, 768), (1920, 1080))
    assert [(each.number, each.size) for each in displays()] == [
        (1, (1366, 768)),
        (2, (1920, 1080)),
    ]
    assert choose_display((1920, 1080)) == 2
    assert choose_display((1366, 768)) == 1
    assert choose_display((1920, 1080), 2) == 2
    # The main display is the operator's where the projector's is plain.
    desktops(monkeypatch, (1920, 1080), (1920, 1080))
    assert choose_display((1920, 1080)) == 2


@pytest.mark.parametrize(
    ("sizes", "wanted", "says"),
    [
        ([(1366, 768)], None, "No display shows 1920x1080.*display 1: 1366x768.*calibrate again"),
        ([(1366, 768)], 2, "There is no display 2 .*switch it on"),
        ([(1366, 768)], 1, "Display 1 shows 1366x768 .*rig was made for 1920x1080: set the"),
        (
            [(1280, 720), (1920, 1080), (1920, 1080)],
            None,
            "Several displays.*which is the projector",
        ),
        ([], None, "There is no display to show light on"),
    ],
)
def test_refuses_displays_that_do_not_fit(monkeypatch, sizes, wanted, says):
    desktops(monkeypatch, *sizes)
    with pytest.raises(Refusal, match=says):
        choose_display((1920, 1080), wanted)


def test_refuses_a_display_that_changed_before_the_window_opened(monkeypatch):
    desktops(monkeypatch, (800, 600))
    with pytest.raises(Refusal, match="Display 1 shows 800x600"):
        run(0, Screen(SIZE, 1), update=None, view=lambda s: None, done=lambda s: True)
    with pytest.raises(Refusal, match="There is no display 3"):
        run(0, Screen(SIZE, 3), update=None, view=lambda s: None, done=lambda s: True)


def watch(monkeypatch, here, changes, count, screen=None):
    """Run a light window while displays come and go; return what is told, and where it opened.

    A change is (the system's own list or None, the window library's sizes).
    """
    monkeypatch.setattr(window, "_LOOK_EVERY", 0.01)
    now = [here]
    monkeypatch.setattr(pygame.display, "get_desktop_sizes", lambda: list(now[0][1]))
    monkeypatch.setattr(window, "listing_for", lambda driver: lambda: now[0][0])
    opened = []
    set_mode = pygame.display.set_mode
    monkeypatch.setattr(
        pygame.display,
        "set_mode",
        lambda *a, **k: opened.append(k.get("display")) or set_mode(SIZE),
    )
    waiting = list(changes)

    def due(state):
        if waiting:
            now[0] = waiting.pop(0)

    told = run(
        (), screen or Screen(SIZE, 2), update=lambda state, happened: (*state, happened),
        view=lambda state: None, done=lambda state: len(state) == count, due=due,
    )  # fmt: skip
    return told, opened


def test_a_display_unplugged_is_told_and_lit_again_when_it_is_back(monkeypatch):
    here = (None, [(1366, 768), SIZE])
    gone, other = (None, [(1366, 768)]), (None, [(1366, 768), (800, 600)])
    told, opened = watch(monkeypatch, here, [gone, gone, other, here], 3)
    lost, changed, back = told
    assert isinstance(lost, DisplayLost)
    assert "Display 2, the projector, is gone" in lost.sentence
    assert isinstance(changed, DisplayLost)
    assert "Display 2 shows 800x600" in changed.sentence
    assert isinstance(back, DisplayBack)
    # In between the window stood aside, small, wherever the system had moved it.
    assert opened == [1, None, 1]


def test_the_small_window_bears_the_sentence(monkeypatch):
    here, gone = (None, [(1366, 768), SIZE]), (None, [(1366, 768)])
    captions = []
    monkeypatch.setattr(pygame.display, "set_caption", captions.append)
    (lost,), _ = watch(monkeypatch, here, [gone], 1, Screen(SIZE, 2, title="light"))
    assert captions == ["light", lost.sentence]


def test_the_system_is_asked_where_the_window_library_says_nothing(monkeypatch):
    """SDL 2.28 under X11 keeps the list it found when it started."""
    operator, projector = Output("eDP-1", (0, 0), (1366, 768)), Output("HDMI-1", (1366, 0), SIZE)
    stale = [(1366, 768), SIZE]
    fresh = [SIZE, (1366, 768)]  # plugged in again as the main display
    told, opened = watch(
        monkeypatch,
        ((operator, projector), stale),
        [((operator,), stale), ((Output("HDMI-1", (0, 0), SIZE), operator), fresh)],
        2,
    )
    assert [type(each) for each in told] == [DisplayLost, DisplayBack]
    assert opened == [1, None, 0]


def test_another_display_coming_and_going_leaves_the_light_alone(monkeypatch):
    operator, projector = Output("eDP-1", (0, 0), (1366, 768)), Output("HDMI-1", (1366, 0), SIZE)
    third = Output("DP-1", (1700, 0), SIZE)
    stale = [(1366, 768), SIZE]
    told, opened = watch(
        monkeypatch,
        ((operator, projector), stale),
        [
            ((operator, projector, third), stale),
            ((projector, third), stale),
            ((third,), stale),  # the projector's turn: the third display is not taken for it
        ],
        1,
    )
    (lost,) = told
    assert isinstance(lost, DisplayLost)
    assert opened == [1, None]


def test_a_list_that_cannot_be_had_for_once_leaves_the_light_alone(monkeypatch):
    operator, projector = Output("eDP-1", (0, 0), (1366, 768)), Output("HDMI-1", (1366, 0), SIZE)
    both = [(1366, 768), SIZE]
    told, opened = watch(
        monkeypatch,
        ((operator, projector), both),
        [(None, both), (None, both), ((operator, projector), both), ((operator,), both)],
        1,
    )
    assert "is gone" in told[0].sentence
    assert opened == [1, None]


def test_a_display_that_is_back_but_cannot_be_opened_yet_is_tried_again(monkeypatch):
    operator, projector = Output("eDP-1", (0, 0), (1366, 768)), Output("HDMI-1", (1366, 0), SIZE)
    stale, both = [(1366, 768)], [(1366, 768), SIZE]
    told, opened = watch(
        monkeypatch,
        ((operator, projector), both),
        [((operator,), both), ((operator, projector), stale), ((operator, projector), both)],
        3,
    )
    assert "is gone" in told[0].sentence
    assert "There is no display 2" in told[1].sentence
    assert isinstance(told[2], DisplayBack)
    assert opened == [1, None, None, 1]


def test_no_screen_is_one_sentence():
    """Without any display the library falls back to one that nobody sees: refused."""
    environment = {
        name: value
        for name, value in os.environ.items()
        if name not in ("SDL_VIDEODRIVER", "DISPLAY", "WAYLAND_DISPLAY", "XDG_RUNTIME_DIR")
    }
    if not sys.platform.startswith("linux"):
        pytest.skip("other systems always have a display")
    told = subprocess.run(
        [sys.executable, "-c", "from chalkbeam.cli.app import main; main()", "displays"],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    if told.returncode == 0:
        pytest.skip("this machine has a display of another kind")
    assert told.returncode == 2
    assert told.stderr.startswith("chalkbeam: There is no display to show light on")
    assert told.stderr.count("\n") == 1  # nothing of the system's own beside it


def test_light_needs_no_sound():
    """A bare machine lacks what pygame's mixer is linked with: its import fails then."""
    code = (
        "import sys; sys.modules['pygame.mixer'] = None\n"
        "from overlay.window.sound import beep\n"
        "from overlay.window.run import displays\n"
        "beep(); print(displays())"
    )
    ended = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert ended.returncode == 0, ended.stderr
    assert "Display(number=1" in ended.stdout
