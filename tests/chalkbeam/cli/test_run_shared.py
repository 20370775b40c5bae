"""`chalkbeam run` at presses that share an order through one queue, driven by keys."""

import json

import pytest

from chalkbeam.presses import taking_part
from chalkbeam.presses.faults import Unreachable
from tests.support.run_command import PLAIN, STEPS, WAY_OUT

pytestmark = pytest.mark.slow

QUEUE = ("--record", "sqlite:///queue.db")
SHARED = ("run", "crew.csv", "--rig", "rig.json", *QUEUE, "--window",
          "--no-page")  # fmt: skip


@pytest.fixture
def press(shop, chalkbeam):
    """Work the order at a press of this name."""
    (shop / "crew.csv").write_text(PLAIN)

    def call(name, *more, keys=()):
        return chalkbeam(*SHARED, "--press-name", name, *more, keys=[*keys, *WAY_OUT])

    return call


def out_of_reach(monkeypatch):
    def away(address):
        raise Unreachable("The queue does not answer (unplugged): check the network.")

    monkeypatch.setattr(taking_part, "Queue", away)


def test_two_presses_share_an_order_and_the_second_gets_what_is_left(press, chalkbeam):
    code, out, _ = press("left", keys=STEPS)
    assert code == 0
    assert "1 of" in out
    code, out, err = press("right", keys=STEPS * 3)
    assert code == 0, err
    assert "nothing more in hand here" in out
    code, out, err = press("left", keys=STEPS * 3)
    assert code == 0, err
    code, _, err = press("left")
    assert code == 2
    assert "(3 of 3 imprints pressed): press it all again" in err
    code, out, _ = chalkbeam("orders", *QUEUE, "--json")
    (order,) = json.loads(out)["orders"]
    assert (code, order["pressed"], order["imprints"], order["waiting"]) == (0, 3, 3, [])
    assert sum(count for _, count in order["by_press"]) == 3
    assert "finished" in chalkbeam("orders", *QUEUE)[1]
    code, out, err = chalkbeam("report", *QUEUE, "--json")
    assert (code, json.loads(out)["pressed"]) == (0, 3), err


def test_a_press_goes_on_with_what_it_has_while_the_queue_is_away(press, monkeypatch):
    assert press("left", keys=STEPS[:2])[0] == 0  # a garment is under the press
    with monkeypatch.context() as patched:
        out_of_reach(patched)
        code, out, err = press("left", keys=[*STEPS[:1], *STEPS])
        assert code == 0, err
        assert "does not answer" in err
        assert "Not in the queue yet" in out
        code, _, err = press("right")  # which has nothing in hand
        assert code == 2
        assert "does not answer" in err
    code, out, err = press("right", keys=STEPS * 3)
    assert code == 0, err


def test_another_press_takes_over_once_it_is_said_what_was_pressed(press):
    press("left", keys=STEPS[:2])
    assert press("right", keys=STEPS * 3)[0] == 0
    code, _, err = press("right")
    assert code == 2
    assert "at a press" in err
    code, _, err = press("right", "--take-over", "left")
    assert code == 2
    assert "Was it pressed?" in err
    assert press("right", "--take-over", "middle", "--pressed", "all")[0] == 2
    code, _, err = press("right", "--take-over", "left", "--pressed", "none", keys=STEPS * 3)
    assert code == 0, err
    assert "Taken over from left" in err
    code, _, err = press("left")
    assert code == 2
    assert "finished" in err


def test_an_order_begun_before_there_was_a_queue_goes_on_at_its_press_alone(
    shop, chalkbeam, tmp_path
):
    from chalkbeam.presses.places import settings_file

    (shop / "crew.csv").write_text(PLAIN)
    alone = ("run", "crew.csv", "--rig", "rig.json", "--window", "--no-page")
    assert chalkbeam(*alone, keys=[*STEPS, *WAY_OUT])[0] == 0
    settings_file().parent.mkdir(parents=True, exist_ok=True)
    settings_file().write_text(f'record = "sqlite:///{tmp_path / "queue.db"}"\n')
    code, out, err = chalkbeam(*alone, keys=[*STEPS * 2, *WAY_OUT])
    assert code == 0, err
    assert "begun before the shop had its queue" in err
    assert "3 imprints pressed" in out
    code, out, err = chalkbeam(*alone, "--new-run", keys=[*STEPS, *WAY_OUT])
    assert code == 0, err
    assert "went back into the queue" in out
