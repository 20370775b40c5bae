import numpy as np

from chalkbeam.light.choice import about
from chalkbeam.placement.shift import Shift


def test_a_shift_about_a_point_moves_that_point_only_by_its_length():
    by = about(Shift(3, -2, 0.5), (40.0, 10.0))
    np.testing.assert_allclose(by.apply([(40.0, 10.0)]), [(43.0, 8.0)])
