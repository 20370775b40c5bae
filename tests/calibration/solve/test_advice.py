"""What is advised where light could land too far off."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calibration.refusal import Refusal, RemedyKind
from calibration.solve.acceptance import examine
from calibration.solve.values import Stated
from tests.support import synthetic_rig
from tests.support.remedies import kinds
from tests.support.solved_bench import CAREFUL, photos, solved


@pytest.mark.proof
def test_too_wide_a_bound_says_what_helps() -> None:
    rng = np.random.default_rng(150)
    bench = synthetic_rig.bench(rng)
    seen = photos(bench, rng, 1, noise=0.3)
    with pytest.raises(Refusal, match="lay each card flush") as caught:
        examine(solved(bench, seen, Stated(laid=3.0)), bench.face)
    assert kinds(caught.value) == [RemedyKind.ALL_AGAIN]
    stated = replace(CAREFUL, heights=(0.0, 20.0), tolerance=0.8)
    with pytest.raises(
        Refusal, match=r"20 mm up; 0\.8 mm is allowed: add a photo with the cards"
    ) as caught:
        examine(solved(bench, seen, stated), bench.face)
    assert kinds(caught.value) == [RemedyKind.ON_SPACER, RemedyKind.LENS, RemedyKind.UP_TO]
    with pytest.raises(
        Refusal, match=r"take one more photo, from the (left|right|front)"
    ) as caught:
        examine(solved(bench, seen, replace(CAREFUL, tolerance=0.05)), bench.face)
    (more,) = caught.value.remedies
    assert more.kind is RemedyKind.ONE_MORE
    assert str(caught.value).endswith(f"from the {more.value}.")
