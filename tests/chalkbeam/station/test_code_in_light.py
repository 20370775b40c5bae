"""A pairing code in the light: it stands for a while, and whatever is done ends it."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from chalkbeam.station.code_in_light import CodeInLight, LightCode
from chalkbeam.web.setup.code_on_platen import squares_of
from overlay.window.inputs import Key, Tick, Told
from tests.support.rigs import demo_rig

WHOLE = "http://127.0.0.1:8420/pair#code=081907"
ASKED = LightCode(squares_of(WHOLE), "081 907", "127.0.0.1:8420", 60.0)


@pytest.fixture
def now():
    return [100.0]


@pytest.fixture
def code(now):
    return CodeInLight(demo_rig(), lambda: now[0])


def test_it_stands_until_its_time_is_over(code, now):
    assert (code.frame, code.due) == (None, None)
    assert code.take(Told(ASKED))
    assert code.frame is code.frame  # the window draws nothing anew
    assert code.due == 160.0
    assert not code.take(Tick(120.0))
    assert code.frame is not None
    now[0] = 160.0
    assert code.frame is None
    assert code.due is None


@pytest.mark.parametrize("happened", [Key("space"), Told("a tap"), Told(LightCode())])
def test_a_key_a_tap_or_a_device_let_in_ends_it(code, happened):
    code.take(Told(ASKED))
    about = isinstance(happened, Told) and isinstance(happened.content, LightCode)
    assert code.take(happened) is about  # a key does what it always does
    assert code.frame is None


def test_a_phone_reads_it_off_the_platen(code):
    code.take(Told(ASKED))
    rig = demo_rig()
    # The platen from straight above, a pixel a millimetre, through the rig's own map.
    x, y = rig.face.width / 2, rig.face.depth / 2
    source = rig.projector.projector_from_platen([(-x, y), (x, y), (x, -y), (-x, -y)])
    target = [(0, 0), (2 * x, 0), (2 * x, 2 * y), (0, 2 * y)]
    from_above = cv2.getPerspectiveTransform(np.float32(source), np.float32(target))
    seen = cv2.warpPerspective(code.frame, from_above, (round(2 * x), round(2 * y)))
    assert cv2.QRCodeDetector().detectAndDecode(seen)[0] == WHOLE
