"""The camera of a run as it is asked for."""

import pytest

from calibration.refusal import Refusal
from chalkbeam.cli.eyes_asked import EyesAsked
from tests.support.filmed_press import rig_with_eye
from tests.support.rigs import demo_rig


@pytest.mark.parametrize("camera", ["front", "-1", "0.5", ""])
def test_what_is_no_camera_is_refused(camera):
    with pytest.raises(Refusal, match="is no camera: give its number"):
        EyesAsked(camera, "2mm", 1.0)


def test_a_rig_without_an_eye_is_refused_unless_the_camera_is_simulated():
    with pytest.raises(Refusal, match="has no eye"):
        EyesAsked("0", "2mm", 1.0).fitted([demo_rig()])
    (seeing,) = EyesAsked("simulated", "2mm", 1.0).fitted([demo_rig()])
    assert seeing.eye is not None
    fitted = rig_with_eye()
    assert EyesAsked("0", "2mm", 1.0).fitted([fitted]) == [fitted]


def test_a_camera_that_is_not_there_is_refused_before_anything_is_lit():
    with (
        pytest.raises(Refusal, match="Camera 97 cannot be opened"),
        EyesAsked("97", "2mm", 1.0).open([rig_with_eye()], None),
    ):
        pass
