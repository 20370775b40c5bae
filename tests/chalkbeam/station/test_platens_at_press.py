"""Several platens on one post: which imprint goes on which, and what is asked before."""

from dataclasses import replace

import pytest

from calibration.geometry import PlatenFace
from calibration.refusal import Refusal
from calibration.rig.platens import on_post
from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.pieces import Art, ArtKind, Imprint, Piece
from chalkbeam.orders.shop import fit_on_press
from chalkbeam.orders.times import Times
from chalkbeam.record.events import Kind, Step
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from chalkbeam.station.platen_choice import on_the_press
from chalkbeam.station.ready_imprint import ImprintPreparer
from chalkbeam.station.values import Command, CommandKind
from overlay.marks import Role, Stroke
from tests.support.crew_order import crew, open_run, station_on
from tests.support.press import Press
from tests.support.rigs import FACE, make_rig

SLEEVE = PlatenFace(127.0, 457.2, 15.0)
FIRST = replace(make_rig(), platen="16x20in")
RIG = replace(FIRST, platens=(replace(make_rig(name="", face=SLEEVE), platen="long one"),))


def sleeves(folder, count=2):
    """Shirts printed on the chest and on the sleeve, for which the sheet names a platen."""
    (shirt,) = (piece for piece in crew(folder) if piece.row == 2)
    on_sleeve = replace(shirt.imprints[0], location="left-sleeve", width=60.0, platen="long one")
    made = []
    for row in range(2, 2 + count):
        chest = replace(shirt.imprints[0], id=f"{row}-1/1")
        made.append(replace(shirt, id=f"{row}-1", row=row,
                            imprints=(chest, replace(on_sleeve, id=f"{row}-1/2"))))  # fmt: skip
    return made


def station(folder, pieces, rig=RIG):
    rigs = on_post(rig)
    planned = plan(pieces, Times(), on_the_press(ImprintPreparer(rigs)))
    store = Store(folder / "record.db")
    run = store.begin(planned, title="crew", sheet=folder / "none.csv", digest="")
    return station_on(open_session(store, run), rigs)


@pytest.fixture
def press(tmp_path):
    return Press(station(tmp_path, sleeves(tmp_path)))


def edge_of(press):
    """The closed line as wide and deep as a platen that is lit."""
    lines = [mark for mark in press.marks() if isinstance(mark, Stroke) and mark.role is Role.CHECK]
    assert len(lines) <= 1
    points = lines[0].points if lines else ((0.0, 0.0),)
    (left, low), (right, high) = (
        tuple(pick(point[k] for point in points) for k in (0, 1)) for pick in (min, max)
    )
    return right - left, high - low


def test_the_order_of_work_changes_platens_once(tmp_path):
    rigs = ImprintPreparer(on_post(RIG))
    stops = plan(sleeves(tmp_path, 3), Times(), on_the_press(rigs)).stops
    assert [stop.fit.platen for stop in stops] == ["16x20in"] * 3 + ["long one"] * 3
    assert ["platen" in stop.changes for stop in stops] == [False] * 3 + [True, False, False]
    assert [stop.imprint.platen for stop in stops[:3]] == [""] * 3  # the sheet stays as it was


def test_each_platen_is_asked_for_with_its_edge_in_light_before_anything_is_loaded(press, tmp_path):
    assert "PUT ON PLATEN 16x20in" in press.words()
    assert edge_of(press) == pytest.approx((FACE.width, FACE.depth))
    assert press.display().asked[0] == "PUT ON PLATEN 16x20in"
    assert press.display().to_set
    press.keys("1")
    assert "PUT ON" not in press.words()
    assert edge_of(press) == (0.0, 0.0)
    press.keys(*["space"] * 6)
    assert press.progress.at == replace(press.progress.at, index=2, step=Step.LOAD)
    assert "PUT ON PLATEN long one" in press.words()
    assert edge_of(press) == pytest.approx((SLEEVE.width, SLEEVE.depth))
    assert press.station.view().rig.name == "bench press, long one"
    press.keys("space", wait=-0.5)  # still from the step before: not an answer
    assert press.progress.press.fitted == "16x20in"
    assert "first put the platen on" in press.station.state.said
    press.keys("n")  # nor is a key that would go on
    press.keys("space")
    assert press.progress.press.fitted == "long one"
    assert press.display().fitting == ""  # said once is said
    press.keys(*["space"] * 3)
    assert "PUT ON" not in press.words()  # the next sleeve lies on the same
    fitted = [e for e in Store(tmp_path / "record.db").events(press.session.run)
              if e.kind is Kind.FITTED]  # fmt: skip
    assert [event.data["platen"] for event in fitted] == ["16x20in", "long one"]


def test_the_record_says_on_which_platen_each_was_pressed(press, tmp_path):
    press.keys("1", *["space"] * 6, "1", *["space"] * 3)
    events = Store(tmp_path / "record.db").events(press.session.run)
    pressed = [event for event in events if event.kind is Kind.PRESSED]
    assert [event.rig for event in pressed] == ["bench press"] * 2 + ["bench press, long one"]


def test_no_step_is_taken_by_anyone_before_the_platen_is_on(press):
    with pytest.raises(Refusal, match="platen is to be put on first"):
        press.station.handle(Command(CommandKind.STEP, step=Step.LAY))


def test_taken_back_it_is_asked_again_and_so_it_is_in_a_new_session(tmp_path, press):
    press.keys("1", "u")
    assert press.station.state.said.startswith("undone: that the platen is on")
    assert "PUT ON PLATEN" in press.words()
    press.keys("1")
    again = open_session(Store(tmp_path / "record.db"), press.session.run)
    assert again.progress.press.fitted is None


def test_a_jump_to_another_platens_piece_asks_for_that_platen(press):
    press.keys("1", "space")
    press.station.handle(Command(CommandKind.JUMP, index=3, step=Step.LOAD))
    assert press.progress.to_fit(press.progress.at) == "long one"
    press.station.handle(Command(CommandKind.JUMP, index=1, step=Step.LOAD))
    assert press.progress.to_fit(press.progress.at) is None  # nobody said that it was taken off


def test_one_platen_by_no_name_asks_for_nothing(tmp_path):
    press = Press(open_run(tmp_path))
    assert press.progress.to_fit(press.progress.at) is None
    assert "PUT ON" not in press.words()


def test_where_the_sheet_names_none_the_first_with_nothing_to_look_at_is_taken(tmp_path):
    """Above a pocket the large platen reaches over the pocket's edge, a pocket platen does not."""
    small = replace(make_rig(name="", face=PlatenFace(152.4, 152.4, 15.0)), platen="pocket")
    rigs = ImprintPreparer(on_post(replace(FIRST, platens=(small,))))
    art = Art(ArtKind.FILE, "pennant.png", tmp_path / "pennant.png")
    crew(tmp_path)
    choose = on_the_press(rigs)

    def chosen(style, size, location, width):
        imprint = Imprint(f"{style}{size}{location}/1", location, art, width)
        piece = Piece("1-1", 1, 1, 1, style, size, "navy", (imprint,))
        return choose(piece, imprint).platen

    assert chosen("crew_tee", "M", "full-back", 280.0) == "16x20in"
    assert chosen("zip_hood", "M", "above-pocket", 90.0) == "pocket"


def test_a_single_rig_plans_as_the_sheet_says(tmp_path):
    assert on_the_press(ImprintPreparer([make_rig()])) is fit_on_press
