"""What is said of where a fixed camera stands: by plain geometry of a right triangle."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from calibration.geometry import PlatenFace
from calibration.model.eye import Eye
from calibration.model.pinhole import Pinhole
from calibration.model.projector import ProjectorMap
from calibration.rig.eye_report import INWARDS, SideInView, places, plain_sides, sides
from calibration.rig.file import Rig
from calibration.solve.values import MapFit

FACE = PlatenFace(400.0, 500.0, 12.0)
SIZE = (1200, 1500)


def over(x: float, y: float, height: float) -> Pinhole:
    """A lens that looks straight down from over a point of the platen."""
    lens = Pinhole(900.0, (SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2)
    turn = np.diag([1.0, -1.0, -1.0])
    return lens.moved(turn, -turn @ [x, y, height])


def seen(x: float, y: float, height: float) -> dict[str, SideInView]:
    light = ProjectorMap(SIZE, over(0.0, 300.0, 1300.0))
    fit = MapFit("full lens", "a test", tuple((0.0,) * 20 for _ in range(20)), 0.1, 500)
    rig = Rig("test", FACE, light, fit, made_at="2026-01-01T08:00:00+00:00")
    nothing = tuple((0.0,) * 15 for _ in range(15))
    eye = Eye(over(x, y, height), SIZE, nothing, tuple((0.0,) * 20 for _ in range(15)), 0.1, 9, 9)
    return {each.name: each for each in sides(rig, eye)}


def test_a_camera_high_over_the_middle_sees_what_hangs_on_every_side() -> None:
    found = seen(0.0, -100.0, 1500.0)
    assert not any(each.hides for each in found.values())
    assert found["left"].inwards == pytest.approx(math.atan(200 / 1500))
    assert found["back"].inwards == pytest.approx(math.atan(350 / 1500))
    assert places(tuple(found.values())) == ()


def test_from_beside_the_far_side_is_hidden_and_the_way_out_is_told() -> None:
    found = seen(350.0, 0.0, 1000.0)
    assert [name for name, each in found.items() if each.hides] == ["left"]
    assert found["left"].inwards == pytest.approx(math.atan(550 / 1000))
    assert found["left"].move == pytest.approx(550 - 1000 * math.tan(INWARDS))
    assert "29° inwards there: move it 290 mm to the left, or higher" in found["left"].words
    assert found["right"].inwards < 0
    assert "over the platen's middle" in places(tuple(found.values()))[0]
    plain = json.loads(json.dumps(plain_sides(tuple(found.values()))))
    assert plain["left"]["hides"] is True
    assert plain["right"]["hides"] is False


def test_what_hangs_at_the_front_may_be_hidden() -> None:
    found = seen(0.0, 300.0, 1000.0)["front"]
    assert found.move > 0
    assert not found.hides
    assert replace(found, name="back").hides
