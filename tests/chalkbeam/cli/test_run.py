"""`chalkbeam run` from the command line, driven by keys under the dummy driver."""

import json
import threading

import pygame
import pytest

from calibration.refusal import Refusal
from chalkbeam.orders import precheck
from chalkbeam.record.session import RunSession, open_session
from chalkbeam.record.store import Store
from chalkbeam.station.display import GettingReady
from overlay.window.inputs import DisplayLost
from tests.support.run_command import PLAIN, SHEET, STEPS, USUAL, WAY_OUT, pressed
from tests.support.until import PATIENCE

pytestmark = pytest.mark.slow


def test_goes_on_where_it_was_left_and_tells_at_the_end(shop, chalkbeam):
    step = [pygame.K_SPACE]
    code, out, err = chalkbeam(*USUAL, "--as-listed", keys=[*step * 3, *WAY_OUT])
    assert code == 0
    # The third key asks whether the dwell is over; nothing is pressed yet.
    assert "0 of 3 imprints pressed" in out
    assert "do not look into its lens" in err
    code, out, _ = chalkbeam(*USUAL, keys=[*step * 1, *WAY_OUT])
    assert out.startswith("Going on with the run begun ")
    assert "1 of 3 imprints pressed" in out
    # Two imprints with a dwell to confirm, one without.
    code, out, _ = chalkbeam(*USUAL, keys=[*step * 7, *WAY_OUT])
    assert "the order is finished; 3 imprints pressed" in out
    assert [len(run) for run in pressed(shop)] == [3]
    # Finished: the same command asks; by choice it begins a new run.
    assert chalkbeam(*USUAL)[0] == 2
    code, out, _ = chalkbeam(*USUAL, "--new-run")
    assert "Going on" not in out
    assert [len(run) for run in pressed(shop)] == [3, 0]


def test_the_operators_display_tells_how_far_the_order_is_got_ready(shop, chalkbeam, monkeypatch):
    told = []

    class Beside:
        def show(self, display, number=""):
            told.append(display)

        def listen(self, post):
            pass

        def close(self):
            pass

    monkeypatch.setattr("chalkbeam.web.beside_the_light.beside_the_light", lambda *given: Beside())
    code, _, _ = chalkbeam(*USUAL[:-1])
    assert code == 0
    assert told[:3] == [GettingReady("crew", done, 3) for done in range(3)]
    assert told[3].heading == "press 1 of 3 · piece 2-1"


def operators(folder):
    with Store(folder / "record.db") as store:
        return [event.operator for event in store.events(store.latest())]


def test_who_was_at_the_press_still_is_unless_another_is_named(shop, chalkbeam):
    chalkbeam(*USUAL, "--operator", "Kit")
    _, out, _ = chalkbeam(*USUAL)
    assert "At the press: Kit, as before; --operator names another." in out
    assert set(operators(shop)) == {"Kit"}
    _, out, _ = chalkbeam(*USUAL, "--operator", "Marit")
    assert "as before" not in out
    assert operators(shop)[-1] == "Marit"
    _, out, _ = chalkbeam(*USUAL)
    assert "At the press: Marit" in out
    _, out, _ = chalkbeam(*USUAL, "--new-run")  # another run: nobody was named
    assert set(operators(shop)) == {""}


def test_with_a_full_disk_what_was_done_is_said_at_the_end_all_the_same(
    shop, chalkbeam, monkeypatch
):
    def full(self):
        raise Refusal("The disk is full.")

    monkeypatch.setattr(RunSession, "close", full)
    (shop / "crew.csv").write_text(PLAIN)
    code, out, err = chalkbeam(*USUAL, "--as-listed", keys=[*STEPS, *WAY_OUT])
    assert code == 2
    assert "1 of 3 imprints pressed" in out
    assert "The disk is full." in err


def test_without_an_operators_display_the_terminal_says_that_the_light_is_gone(
    shop, chalkbeam, monkeypatch
):
    looked = []

    def look(self, now):
        looked.append(now)
        return [DisplayLost("The projector is gone.", now)] if len(looked) == 3 else []

    monkeypatch.setattr("overlay.window.run._Window._look", look)
    monkeypatch.setattr("overlay.window.run._LOOK_EVERY", 0.0)
    _, out, err = chalkbeam(*USUAL, keys=[*STEPS, *WAY_OUT])
    assert err.count("The projector is gone. No step is taken in the dark") == 1
    assert "0 of 3 imprints pressed" in out


def test_a_reorder_brings_the_moves_back(shop, chalkbeam):
    keys = [pygame.K_SPACE, pygame.K_RIGHT, pygame.K_RIGHT, *[pygame.K_SPACE] * 3, *WAY_OUT]
    chalkbeam(*USUAL, "--as-listed", keys=keys)
    with Store(shop / "record.db") as store:
        first = store.latest().id
    _, out, _ = chalkbeam(*USUAL, "--as-listed", "--again", first[:6], keys=keys[-5:])
    # One of the row's two pieces was pressed: the other is like it.
    assert out.startswith("A reorder: 2 of 3 imprints come back as they were pressed in the run")
    with Store(shop / "record.db") as store:
        latest = store.latest()
        assert latest.earlier == first
    code, _, err = chalkbeam(*USUAL, "--again", "ffff")
    assert code == 2
    assert "ffff" in err


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--collar", "inside"), "A collar cannot point “inside”"),
        (("--rig", "none.json"), "There is no rig file"),
        (("--first", "99-1"), "There is no piece “99-1” to pin"),
        (("--times", "lunch=3600"), "“lunch” is not a step"),
        (("--record", "crew.csv"), "crew.csv"),
    ],
)
def test_refusals(shop, chalkbeam, arguments, says):
    code, _, err = chalkbeam(*USUAL, *arguments)
    assert code == 2
    assert says in err
    assert "Traceback" not in err
    assert not (shop / "record.db").exists() or arguments[0] in ("--first", "--times")


def test_options_that_come_too_late_are_read_and_said_to_be_without_effect(shop, chalkbeam):
    chalkbeam(*USUAL)
    for arguments, says in (
        (("--times", "load=abc"), "“load=abc” is not a time"),
        (("--first", "99-1"), "There is no piece “99-1” to pin"),
        (("--artwork", "nowhere"), "There is no folder “nowhere” of artwork"),
    ):
        for more in ((), ("--as-recorded",)):
            code, out, err = chalkbeam(*USUAL, *arguments, *more)
            assert code == 2
            assert says in err
            assert "Going on" not in out
    late = ("--times", "load=12", "--first", "3-1", "--as-listed", "--unit", "mm", "--anyway")
    code, out, err = chalkbeam(*USUAL, *late)
    assert code == 0
    assert out.startswith("Going on with the run begun ")
    assert "Without effect: --times, --first, --as-listed, --anyway, --unit. The run was" in err
    assert "Without effect" not in chalkbeam(*USUAL)[2]


def test_without_any_display_only_the_projector_is_advised(shop, chalkbeam, monkeypatch):
    def no_video():
        raise pygame.error("No available video device")

    monkeypatch.setattr("overlay.window.run.pygame.display.init", no_video)
    for way in ((), ("--window",)):
        code, _, err = chalkbeam("run", "crew.csv", "--rig", "rig.json", "--record", "r.db", *way)
        assert code == 2
        assert "There is no display to show light on (No available video device)" in err
        assert "connect the projector and switch it on." in err
        assert "--png" not in err


def test_a_faulty_sheet_lists_every_problem_and_begins_nothing(shop, chalkbeam):
    (shop / "crew.csv").write_text(SHEET.replace("90 mm", "ninety").replace(",L,", ",9XL,"))
    code, _, err = chalkbeam(*USUAL)
    assert code == 2
    assert "ninety" in err
    assert "9XL" in err
    assert not (shop / "record.db").exists()


def test_needs_the_projectors_display(shop, chalkbeam):
    code, _, err = chalkbeam("run", "crew.csv", "--rig", "rig.json", "--record", "record.db")
    assert code == 2
    assert "No display shows 640x360" in err
    assert not (shop / "record.db").exists()


def test_a_foot_on_the_pedal_while_the_window_opens_confirms_nothing(shop, chalkbeam):
    step = pygame.K_SPACE
    chalkbeam(*USUAL, "--as-listed", keys=[step, step, *WAY_OUT])  # left under the press
    # The first Escape puts the question by, the second leaves.
    code, out, err = chalkbeam(*USUAL, keys=WAY_OUT, early=[step] * 4)
    assert code == 0
    assert err.startswith("Getting ready")
    assert "0 of 3 imprints pressed" in out
    # What is lit first asks whether it was pressed: one deliberate key says so.
    _, out, _ = chalkbeam(*USUAL, keys=[step, *WAY_OUT])
    assert "1 of 3 imprints pressed" in out


def test_nothing_is_first_met_at_the_press(shop, chalkbeam):
    (shop / "pennant.png").write_bytes(b"no picture")
    code, _, err = chalkbeam(*USUAL)
    assert code == 2
    assert "rows 2, 3, column F (Artwork): pennant.png is not a picture" in err
    assert "--anyway" in err
    assert pressed(shop) == []
    code, out, _ = chalkbeam(*USUAL, "--anyway")
    assert code == 0
    assert "0 of 3 imprints pressed" in out


def test_what_no_rig_takes_is_told_before_the_order_begins(shop, chalkbeam):
    (shop / "crew.csv").write_text(SHEET.replace("Width,", "Width,Platen,").replace(
        "90 mm,", "90 mm,,").replace("250 mm,", "250 mm,15x15in,"))  # fmt: skip
    code, _, err = chalkbeam(*USUAL)
    assert code == 0
    assert "To be skipped for now: full back: This imprint wants platen 15x15in" in err


def test_leaving_while_the_order_is_placed_begins_nothing(shop, chalkbeam, monkeypatch):
    left, reached, threads = threading.Event(), threading.Event(), []
    real = precheck.precheck_order

    def slow(*arguments):
        threads.append(threading.current_thread())
        reached.set()
        assert left.wait(PATIENCE)
        return real(*arguments)

    monkeypatch.setattr(precheck, "precheck_order", slow)
    code, out, _ = chalkbeam(*USUAL, early=[pygame.K_ESCAPE])
    assert code == 0
    assert out == "Left before anything was shown: nothing has changed.\n"
    assert reached.wait(PATIENCE)  # the window may be left before the thread has come so far
    left.set()
    (thread,) = threads
    thread.join(PATIENCE)
    assert not thread.is_alive()
    assert pressed(shop) == []  # not one run, even after the thread has ended


def test_a_reorder_is_placed_ahead_where_it_lay_before(shop, chalkbeam):
    """The sheet's location would spoil the hood: on the first day another was chosen."""
    (shop / "crew.csv").write_text(
        "Style,Size,Colour,Qty,Location,Artwork,Width\n"
        "zip hood,M,navy,1,full front,pennant.png,200 mm\n"
    )
    code, _, err = chalkbeam(*USUAL)
    assert code == 2
    assert "on the zip" in err
    assert chalkbeam(*USUAL, "--anyway")[0] == 0
    with Store(shop / "record.db") as store:
        first = store.latest()
        session = open_session(store, first)
        session.preset("full-back")
        session.press()
    assert chalkbeam(*USUAL, "--again", first.id)[0] == 0
    assert pressed(shop) == [["2-1/1"], []]
    assert chalkbeam(*USUAL, "--new-run")[0] == 2


def test_what_was_printed_is_counted_at_the_press_and_in_the_report(shop, chalkbeam):
    (shop / "printed.csv").write_text("Artwork,Width,On each,Sheets\npennant.png,90 mm,4,1\n")
    keys = [*[pygame.K_SPACE] * 4, *WAY_OUT]
    code, _, err = chalkbeam(*USUAL, "--as-listed", "--printed", "printed.csv", keys=keys)
    assert code == 0
    assert "Spare:" in err
    code, out, _ = chalkbeam("report", "--record", "record.db", "--json")
    (transfer,) = json.loads(out)["transfers"]
    assert (transfer["printed"], transfer["used"]) == (4, 1)
