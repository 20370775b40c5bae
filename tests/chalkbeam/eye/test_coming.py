"""Pictures of a burst that are still to come."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from calibration.refusal import Refusal
from chalkbeam.eye.burst import Burst
from chalkbeam.eye.coming import ComingPictures

PICTURE = np.zeros((4, 6, 3), np.uint8)


def test_who_asks_for_a_picture_waits_until_it_is_there():
    coming = ComingPictures(("dark", "white"))
    burst = Burst("here", coming)
    assert burst.has("white")
    assert coming.lacks()
    with ThreadPoolExecutor(1) as hand:
        asked = hand.submit(burst.picture, "white")
        coming.put("dark", PICTURE)
        assert burst.size == (6, 4)
        assert not asked.done()
        coming.put("white", PICTURE + 9)
        assert asked.result(5.0).max() == 9
    assert not coming.lacks("dark", "white")


def test_nobody_waits_for_what_will_not_come():
    coming = ComingPictures(("dark", "white"))
    with ThreadPoolExecutor(1) as hand:
        asked = hand.submit(Burst("here", coming).picture, "white")
        coming.stop()
        with pytest.raises(Refusal, match="cut short"):
            asked.result(5.0)
    with pytest.raises(Refusal, match="no picture “dots”"):
        Burst("here", coming).picture("dots")
