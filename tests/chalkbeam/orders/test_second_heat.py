"""Finished prints and later heat: common practice, no source; orders against every permutation."""

import itertools
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chalkbeam.orders.order_of_work import Plan, plan
from chalkbeam.orders.pieces import Art, ArtKind, Imprint, Piece, PressSettings
from chalkbeam.orders.precheck import on_file
from chalkbeam.orders.second_heat import firsts_of, heated_anyway, of_one_loading
from chalkbeam.orders.shop import fit_on_press
from chalkbeam.orders.stretches import heated_lines
from chalkbeam.orders.times import Times
from chalkbeam.orders.under_head import by_where_they_lie
from chalkbeam.record import snapshot
from chalkbeam.record.events import Event, Kind, Step, new_id
from chalkbeam.record.progress import At, Progress
from chalkbeam.station.cautions import cautions, cover_lines
from tests.support.crew_order import write_pennant

HOT = PressSettings("305 F")
COLD = PressSettings("280 F")
TWICE = PressSettings("280 F", second="5 s under a cover sheet", second_dwell=5.0)
AGAIN = PressSettings("280 F", second="5 s", second_dwell=5.0)
FRONT = of_one_loading(fit_on_press)


def shirt(art, *places, row=2):
    """Return a shirt; each place is location, settings and platen."""
    file = Art(ArtKind.FILE, art.name, art)
    imprints = tuple(
        Imprint(f"{row}-1/{number}", where, file, 80.0, press=press, platen=platen)
        for number, (where, press, platen) in enumerate(places, start=1)
    )
    return Piece(f"{row}-1", row, 1, 1, "crew_tee", "L", "navy", imprints)


@pytest.fixture
def art(tmp_path):
    write_pennant(tmp_path / "pennant.png")
    return tmp_path / "pennant.png"


def order_of(stops):
    return [stop.imprint.location for stop in stops]


@pytest.mark.parametrize(
    ("first", "then", "wanted"),
    [
        (COLD, HOT, ["right-chest", "left-chest"]),
        (HOT, COLD, ["left-chest", "right-chest"]),
        (HOT, TWICE, ["left-chest", "right-chest"]),  # what is hotter outweighs what stands it
        (COLD, TWICE, ["right-chest", "left-chest"]),
        (COLD, COLD, ["left-chest", "right-chest"]),  # nothing to spare: the sheet's own
        (COLD, AGAIN, ["left-chest", "right-chest"]),  # a second press without a cover named
    ],
)
def test_hot_ones_go_first_and_those_that_stand_a_second_press(art, first, then, wanted):
    piece = shirt(art, ("left-chest", first, ""), ("right-chest", then, ""))
    planned = plan([piece], Times(), fit_on_press)
    assert order_of(planned.stops) == wanted


def test_what_covers_the_other_goes_first(art):
    # The big platen's head covers both sides of the chest, the pocket's only its own.
    small, large = "pocket-6x6in", "16x20in"
    piece = shirt(art, ("right-chest", COLD, small), ("left-chest", COLD, large))
    covers = by_where_they_lie(on_file())
    one, other = piece.imprints
    assert covers(piece, one, other)
    assert not covers(piece, other, one)
    planned = plan([piece], Times(), fit_on_press, covers=covers)
    assert order_of(planned.stops) == ["left-chest", "right-chest"]
    assert planned.heated == ()
    listed = plan([piece], Times(), fit_on_press, covers=covers, as_listed=True)
    assert [(s.imprint.id, h.print_.id) for s, h in listed.heated] == [("2-1/2", "2-1/1")]
    pinned = plan([piece], Times(), fit_on_press, covers=covers, first=["2-1"])
    assert order_of(pinned.stops) == ["left-chest", "right-chest"]


def test_a_garment_is_laid_anew_where_that_keeps_a_print_off_the_platen(art):
    small = "pocket-6x6in"
    piece = shirt(art, ("left-chest", COLD, small), ("right-chest", COLD, small))
    stops = plan([piece], Times(load=60), fit_on_press, covers=by_where_they_lie(on_file())).stops
    assert [stop.loads for stop in stops] == [True, True]
    assert [stop.covers for stop in stops] == [(), ()]
    large = shirt(art, ("left-chest", COLD, ""), ("right-chest", COLD, ""))
    stops = plan([large], Times(load=60), fit_on_press, covers=by_where_they_lie(on_file())).stops
    assert [stop.loads for stop in stops] == [True, False]
    assert [stop.covers for stop in stops] == [("2-1/2",), ("2-1/1",)]


def test_pieces_that_disagree_are_put_off_to_another_round(art):
    # Of one the hot print comes first, of the other the cold one stands the heat of the other.
    plain = shirt(art, ("left-chest", HOT, ""), ("right-chest", COLD, ""))
    small = shirt(art, ("left-chest", COLD, "16x20in"), ("right-chest", HOT, "pocket-6x6in"), row=3)
    covers = by_where_they_lie(on_file())
    planned = plan([plain, small], Times(), fit_on_press, covers=covers)
    place = {stop.imprint.id: k for k, stop in enumerate(planned.stops)}
    assert place["2-1/1"] < place["2-1/2"]
    assert place["3-1/1"] < place["3-1/2"]


PRESSES = st.sampled_from((HOT, COLD, TWICE, PressSettings()))


@given(st.lists(st.lists(PRESSES, min_size=1, max_size=4), min_size=1, max_size=6))
def test_every_piece_suffers_as_little_as_in_any_permutation(orders):
    places = ("left-chest", "right-chest", "full-front", "full-back")
    pieces = []
    for row, presses in enumerate(orders, start=2):
        wanted = [(where, press, "") for where, press in zip(places, presses, strict=False)]
        pieces.append(shirt(Path("a.png"), *wanted, row=row))

    def suffered(imprints):
        worst = 0
        for before, after in itertools.combinations(imprints, 2):
            if "back" in before.location or "back" in after.location:
                continue  # threaded the other way
            own, other = before.press.temperature, after.press.temperature
            hotter = (own, other) == ("280 F", "305 F")
            worst += 6 if hotter else 1 if before.press.second else 2
        return worst

    stops = plan(pieces, Times(), fit_on_press).stops
    assert len(stops) == sum(len(piece.imprints) for piece in pieces)
    for piece in pieces:
        done = [stop.imprint for stop in stops if stop.piece.id == piece.id]
        least = min(suffered(order) for order in itertools.permutations(piece.imprints))
        assert suffered(done) == least


def test_where_no_order_helps_it_is_said(art):
    piece = shirt(art, ("left-chest", COLD, ""), ("full-front", HOT, ""))
    (heated,) = heated_anyway(piece, FRONT)
    assert (heated.print_.location, heated.by.location) == ("full-front", "left-chest")
    assert heated.words("full-front", "left-chest") == (
        "No order of work keeps the finished full front out of the heat of left chest: cover it "
        "as its supplier's sheet says."
    )
    worse = replace(piece, imprints=piece.imprints[::-1])
    planned = plan([worse], Times(), fit_on_press, covers=FRONT, as_listed=True)
    (line,) = heated_lines(planned)
    assert line.startswith("2-1: The finished full front is under the head once more with left ")
    assert heated_lines(Plan((), 0.0, 0.0, 0.0, 0.0, {})) == []
    piece = shirt(art, ("left-chest", COLD, ""), ("full-front", TWICE, ""))
    (heated,) = heated_anyway(piece, FRONT)
    assert heated.words("a", "b").endswith("for its own second press (5 s under a cover sheet).")
    assert firsts_of(piece, FRONT) == {("2-1/2", "2-1/1")}


def pressed(progress, imprint):
    progress.apply(Event(new_id(), Kind.PRESSED, imprint, None, {}))


def test_it_is_told_at_the_press_as_the_plan_found_it(art):
    small = "pocket-6x6in"
    piece = shirt(art, ("left-chest", COLD, small), ("right-chest", HOT, "16x20in"))
    covers = by_where_they_lie(on_file())
    listed = plan([piece], Times(), fit_on_press, covers=covers, as_listed=True)
    stops, *_ = snapshot.load(snapshot.dump(listed.stops, 0.0, 0.0))
    assert stops == listed.stops
    progress = Progress(stops)
    pressed(progress, "2-1/1")
    (said,) = cautions(progress, At(1))
    assert said == (
        "This heats the finished print again (left chest): cover it as its supplier's sheet says. "
        "It is hotter than left chest was pressed at."
    )
    assert cover_lines(progress, At(1, Step.LAY)) == ("cover the finished left chest",)
    assert cover_lines(progress, At(1, Step.LOAD)) == ()
    spared = Progress(plan([piece], Times(), fit_on_press, covers=covers).stops)
    pressed(spared, "2-1/2")
    assert spared.stop.imprint.location == "left-chest"
    assert cautions(spared, spared.at) == ()
