"""Refusals of what is not sure enough tell options that can be followed."""

import re

import numpy as np
import pytest
from typer.main import get_command

from calibration.geometry import PlatenFace
from calibration.refusal import Refusal, Remedy, RemedyKind
from calibration.rig import by_hand
from calibration.solve.acceptance import examine
from calibration.solve.fit import solve
from calibration.solve.values import Stated
from chalkbeam.cli.advice import TYPED, told
from chalkbeam.cli.app import app, options_of
from tests.support import synthetic_rig
from tests.support.oblique_projector import oblique_map

FACE = PlatenFace(406.4, 508.0, 12.0)
SIZE = (1920, 1080)


def refused(count, **stated):
    """Set crosses a tenth of a millimetre off on a known projector; return what is said."""
    rng = np.random.default_rng(2)
    true = oblique_map(SIZE, roll=0.05, tilt=0.5, turn=0.1, distance=1200, throw=1.2, k1=-0.02)
    marks = np.array([mark.point for mark in by_hand.suggested_points(FACE, count)])
    pixels = true.projector_from_platen(marks + rng.normal(0, 0.1, marks.shape))
    asked = Stated(**stated)
    solution = by_hand.solve_by_hand(marks, pixels, FACE, SIZE, asked)
    with pytest.raises(Refusal) as caught:
        examine(solution, FACE)
    said = told(caught.value.said)
    assert said.endswith(".")
    assert said.count(". ") == 0
    return said.partition("is allowed: ")[2]


def test_where_height_is_in_doubt_tape_data_sheet_or_thin_cloth():
    advice = refused(9, heights=(0.0, 20.0))
    assert "measure with a tape where the projector's lens is (--lens)" in advice
    assert "(--throw)" in advice
    assert "--up-to 1mm" in advice
    assert "--count" not in advice
    assert refused(4, heights=(0.0, 20.0)).startswith("set 9 crosses (--count 9), or measure")
    advice = refused(9, heights=(0.0, 100.0), throw=1.2)
    assert "--throw" not in advice


def test_more_crosses_only_where_more_can_be_set():
    assert refused(4, tolerance=0.5) == "set 9 crosses (--count 9)."
    assert refused(9, tolerance=0.5).startswith("measure the marks again")


def test_photos_on_the_bare_platen_want_a_board_the_lens_or_thin_cloth():
    rng = np.random.default_rng(150)
    bench = synthetic_rig.bench(rng)
    lens = synthetic_rig.phone(rng)
    photo = bench.photo(synthetic_rig.posed(lens, rng), rng, 0.3)
    stated = Stated(laid=0.05, bar=100.0, tolerance=0.8, heights=(0.0, 20.0))
    with pytest.raises(Refusal) as caught:
        examine(solve([photo], bench.cards, bench.pattern, bench.face, stated), bench.face)
    assert told(caught.value.said).partition("is allowed: ")[2] == (
        "add a photo with the cards on a flat board (--raised), or measure with a tape where the "
        "projector's lens is (--lens), or calibrate for thin cloth only (--up-to 1mm)."
    )
    assert "--" not in str(caught.value)


def test_what_another_command_takes_is_not_told():
    said = ("Wide: ", Remedy(RemedyKind.LENS, "measure"), " or ", Remedy(RemedyKind.BAR, "again"))
    assert told(said, {"--bar"}) == "Wide: measure or again (--bar)"


@pytest.mark.parametrize("kind", RemedyKind)
def test_every_remedy_has_its_advice_and_the_program_takes_it(kind):
    """A command that is told is one, with its options; a bare option is one of some command."""
    what = TYPED[kind].format(1.0)
    options = re.findall(r"--[\w-]+", what)
    if not what.startswith("chalkbeam"):
        assert set(options) <= set().union(*map(options_of, commands(get_command(app))))
        return
    command = get_command(app)
    for word in what.split()[1:]:
        command = getattr(command, "commands", {}).get(word, command)
    assert not hasattr(command, "commands")
    assert set(options) <= options_of(command)


def commands(group):
    """Yield every command of a group and of the groups in it."""
    for each in group.commands.values():
        yield from commands(each) if hasattr(each, "commands") else (each,)
