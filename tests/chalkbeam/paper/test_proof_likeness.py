import numpy as np

from chalkbeam.paper.proof.likeness import share_like

NAVY = (29, 36, 65)


def art(*colours):
    """Equal stripes of RGBA colours."""
    return np.repeat(np.array([colours], np.uint8), 40, axis=0).repeat(10, axis=1)


def test_only_ink_counts_and_only_what_is_like_the_cloth():
    white, nothing = (255, 255, 255, 255), (*NAVY, 0)
    near = (31, 40, 70, 255)
    assert share_like(art(white, nothing), NAVY) == 0.0
    assert share_like(art(near, nothing), NAVY) == 1.0
    assert share_like(art(near, white, nothing, white), NAVY) == 1 / 3
    assert share_like(art(nothing), NAVY) == 0.0


def test_one_hue_at_another_lightness_shows():
    """Sky blue on navy is alike in hue alone; black on navy is hardly seen at all."""
    assert share_like(art((140, 180, 230, 255)), NAVY) == 0.0
    assert share_like(art((20, 24, 45, 255)), NAVY) == 1.0
