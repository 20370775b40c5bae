"""Number keys: the step stays only where the garment, the platen and the pad do."""

from dataclasses import replace

import pytest

from calibration.geometry import PlatenFace
from chalkbeam.basics.spreadsheets import digest_of
from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.pieces import PressSetup
from chalkbeam.orders.shop import fit_on_press
from chalkbeam.orders.times import Times
from chalkbeam.record.events import Step
from chalkbeam.record.progress import At
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from chalkbeam.station.modes import ORDER, SINGLE
from tests.support.crew_order import crew, station_on
from tests.support.hand import Hand
from tests.support.press import Press
from tests.support.rigs import make_rig


def piece_at(folder, *locations, **more):
    """Return one shirt with the pennant at these locations; `more` holds for the second."""
    piece = crew(folder)[0]
    imprints = [
        replace(piece.imprints[0], id=f"2-1/{number}", location=location)
        for number, location in enumerate(locations, start=1)
    ]
    imprints[1] = replace(imprints[1], **more)
    return replace(piece, imprints=tuple(imprints))


def stops_of(piece):
    return plan([piece], Times(), fit_on_press, as_listed=True).stops


@pytest.mark.parametrize("mode", [ORDER, SINGLE])
@pytest.mark.parametrize(
    ("locations", "more", "step"),
    [
        (("left-chest", "right-chest"), {}, Step.LAY),
        (("left-chest", "full-back"), {}, Step.LOAD),
        (("left-chest", "right-chest"), {"pad": "10x10x0.5in"}, Step.LOAD),
        (("left-chest", "right-chest"), {"platen": "15x15in"}, Step.LOAD),
        (("left-chest", "left-sleeve"), {}, Step.LOAD),
    ],
)
def test_at_lay_a_change_of_face_platen_or_pad_goes_to_load(tmp_path, mode, locations, more, step):
    hand = Hand(stops_of(piece_at(tmp_path, *locations, **more)), mode)
    hand.press("space")
    assert hand.progress.at == At(0, Step.LAY)
    hand.press("2")
    assert hand.progress.at == At(1, step)
    if more.get("platen"):
        hand.press("1")  # it is on
    hand.press(*(["space"] if step is Step.LOAD else []), "1")
    assert hand.progress.at == At(0, step)


def test_a_face_in_between_means_that_the_garment_was_turned(tmp_path):
    piece = piece_at(tmp_path, "left-chest", "full-back", "right-chest")
    hand = Hand(stops_of(piece), SINGLE)
    assert {stop.fit for stop in hand.progress.stops} == {PressSetup(), PressSetup(loading="back")}
    hand.press("space", "3")
    assert hand.progress.at == At(2, Step.LOAD)


def test_from_the_press_step_a_location_is_loaded(tmp_path):
    hand = Hand(stops_of(piece_at(tmp_path, "left-chest", "right-chest")), SINGLE)
    hand.press("space", "space", "2")
    assert hand.progress.at == At(1, Step.LOAD)


@pytest.fixture
def short(tmp_path):
    """A station on a platen so short that no loading presses both imprints of the shirt."""
    piece = piece_at(tmp_path, "left-chest", "left-hem")
    sheet = tmp_path / "crew.csv"
    sheet.write_text("the tests read no sheet\n")
    store = Store(tmp_path / "record.db")
    run = store.begin(
        plan([piece], Times(), fit_on_press, as_listed=True),
        title="short", sheet=sheet, digest=digest_of(sheet),
    )  # fmt: skip
    return Press(station_on(open_session(store, run), [make_rig(face=PlatenFace(406, 200, 15))]))


def test_where_no_loading_presses_both_the_plan_lets_the_garment_stay_but_light_does_not(short):
    assert short.progress.stays(1)
    one, other = (short.station.readiness.prepared(index) for index in (0, 1))
    assert not one.lies_as(other)
    short.keys("space", "2")
    assert short.progress.at == At(1, Step.LOAD)


@pytest.mark.parametrize("keys", [("space", "space", "space"), ("space", "s", "2")])
def test_what_is_next_then_is_loaded_too_and_still_is_after_a_crash(short, tmp_path, keys):
    short.keys(*keys)
    assert short.progress.at == At(1, Step.LOAD)
    store = Store(tmp_path / "record.db")
    assert open_session(store, store.latest()).progress.at == At(1, Step.LOAD)
