"""The eye's steps: what a shift looks like, and what no order of events may do."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from chalkbeam.eye.closing import NOT_WATCHED, UNCHECKED
from chalkbeam.eye.knowing import EyeState
from chalkbeam.eye.sights import (
    AskPressed,
    Blinded,
    CountPress,
    EmptyRead,
    Flash,
    FlashKind,
    GarmentRead,
    Hidden,
    Moved,
    NotHidden,
    NothingLies,
    PrintRead,
    Remember,
    RunAt,
    Say,
    Seen,
    SeesAgain,
    Sight,
    StopFlash,
    TakeStep,
    TransferRead,
)
from chalkbeam.eye.steps import follow

DWELL = 10.0
NEXT = {"load": "lay", "lay": "press"}


class Shift:
    """Carries wishes out on a run of imprints, as a station does, and keeps what was wished.

    `stays` names the imprints for which the garment stays as it lies.
    """

    def __init__(self, imprints=("a", "b", "c"), stays=(), dwell=DWELL):
        self.imprints, self.stays, self.dwell = list(imprints), set(stays), dwell
        self.counts, self.wished = [], []
        self.state = EyeState()
        self.at = 0.0
        self.run = RunAt(self.imprints[0], "load", dwell)
        self.go(self.run, by_eye=False)

    def go(self, run, by_eye):
        self.run = run
        self.tell(Moved(run, by_eye, self.at))

    def press(self, by_eye):
        """Count the imprint and go on."""
        self.counts.append((self.run.imprint, by_eye))
        place = self.imprints.index(self.run.imprint) + 1
        if place == len(self.imprints):
            return self.go(RunAt(), by_eye)
        name = self.imprints[place]
        step = "lay" if name in self.stays else "load"
        return self.go(RunAt(name, step, self.dwell), by_eye)

    def tell(self, happened):
        """Tell the machine and carry out what it wishes."""
        self.state, wishes = follow(self.state, happened)
        for wish in wishes:
            self.wished.append(wish)
            match wish:
                case TakeStep(step):
                    assert NEXT.get(self.run.step) == step, "it only goes on"
                    self.go(replace(self.run, step=step), by_eye=True)
                case CountPress():
                    assert self.run.step == "press"
                    self.press(by_eye=True)
        return wishes

    def key(self):
        """A person asks for the next step."""
        if self.run.step == "press":
            self.press(by_eye=False)
        elif self.run.imprint:
            self.go(replace(self.run, step=NEXT[self.run.step]), by_eye=False)

    def see(self, sight, lasting=1.0):
        """See something for a while, told ten times a second."""
        for _ in range(max(1, round(lasting * 10))):
            self.at += 0.1
            self.tell(Seen(sight, self.at))

    # -- what a person does at the press

    def empties(self):
        self.see(Sight.MOVING)
        self.see(Sight.EMPTY)
        self.tell(EmptyRead(self.at))

    def loads(self, fits=True):
        self.see(Sight.MOVING)
        self.see(Sight.CLOTH)
        self.tell(GarmentRead(fits, self.at, proposed=True))
        self.see(Sight.LOADED)

    def lays(self, verdict="good"):
        self.see(Sight.MOVING)
        self.see(Sight.SHEET)
        self.tell(TransferRead(verdict, self.at))

    def closes(self, seconds=DWELL, opens=Sight.SHEET):
        self.see(Sight.MOVING, 0.6)
        self.see(Sight.COVERED, seconds)
        self.see(Sight.MOVING, 0.6)
        self.see(opens)

    def asks(self):
        return [wish.why for wish in self.wished if isinstance(wish, AskPressed)]


def test_a_shift_needs_no_key():
    shift = Shift()
    for _ in range(3):
        shift.empties()
        shift.loads()
        assert shift.run.step == "lay"
        shift.lays()
        shift.closes()
    assert shift.counts == [("a", True), ("b", True), ("c", True)]
    assert shift.asks() == []


def test_a_garment_that_stays_is_not_loaded_again():
    shift = Shift(stays={"b"})
    shift.empties()
    shift.loads()
    shift.lays()
    shift.closes()
    assert (shift.run.imprint, shift.run.step) == ("b", "lay")
    shift.lays()
    shift.closes()
    assert [name for name, _ in shift.counts] == ["a", "b"]


def looks_at_prints(shift):
    return shift.wished.count(Flash(FlashKind.PRINT))


def test_a_pressed_print_is_looked_at_once_while_it_lies_still():
    shift = Shift()
    shift.empties()
    shift.loads()
    shift.lays()
    assert looks_at_prints(shift) == 0
    shift.closes()
    assert looks_at_prints(shift) == 1
    shift.tell(PrintRead(shift.at))
    shift.see(Sight.SHEET, 1.0)
    assert looks_at_prints(shift) == 1
    shift.empties()
    shift.loads()
    assert (shift.run.imprint, shift.run.step) == ("b", "lay")


def test_nobody_waits_for_the_look_at_a_print():
    shift = Shift(stays={"b"})
    shift.empties()
    shift.loads()
    shift.lays()
    shift.closes()
    shift.see(Sight.MOVING)  # before it is read
    assert shift.wished[-1] == StopFlash()
    shift.see(Sight.SHEET)
    assert looks_at_prints(shift) == 1
    assert shift.wished[-1] == Flash(FlashKind.TRANSFER)


def test_smoothing_before_the_transfer_is_laid_does_not_count():
    shift = Shift()
    shift.empties()
    shift.loads()
    shift.closes(3.0, opens=Sight.LOADED)
    assert (shift.run.step, shift.counts) == ("lay", [])
    shift.lays()
    shift.closes()
    assert shift.counts == [("a", True)]


def test_a_second_closing_on_the_same_piece_does_not_count():
    shift = Shift()
    shift.empties()
    shift.loads()
    shift.lays()
    shift.closes()
    shift.closes(5.0)
    shift.see(Sight.SHEET, 3.0)
    assert shift.counts == [("a", True)]
    assert shift.run == RunAt("b", "load", DWELL)
    assert shift.asks() == []


def test_too_short_a_closing_is_asked_and_a_whole_one_then_counts():
    shift = Shift()
    shift.empties()
    shift.loads()
    shift.lays()
    shift.closes(4.0)
    assert shift.counts == []
    assert shift.asks() == ["the press was seen closed for 4 s of 10"]
    shift.closes()
    assert shift.counts == [("a", True)]


def test_a_transfer_that_was_not_seen_right_is_asked():
    for verdict in ("move", "cannot see"):
        shift = Shift()
        shift.empties()
        shift.loads()
        shift.lays(verdict)
        shift.closes()
        assert (shift.counts, shift.asks()) == ([], [UNCHECKED])
        shift.key()
        assert shift.counts == [("a", False)]


def test_a_press_whose_transfer_was_not_seen_is_asked_at_once():
    shift = Shift()
    shift.empties()
    shift.loads()
    shift.see(Sight.MOVING)
    shift.closes()  # before anybody could look
    assert (shift.counts, shift.asks(), shift.run.step) == ([], [UNCHECKED], "press")
    shift.key()
    assert shift.counts == [("a", False)]
    shift.closes()
    shift.empties()
    assert (shift.counts, len(shift.asks())) == ([("a", False)], 1)


def test_a_press_on_a_garment_that_was_never_sure_is_asked_at_once():
    shift = Shift()
    shift.empties()
    shift.loads(fits=False)
    shift.closes()
    assert (shift.counts, shift.asks(), shift.run.step) == ([], [UNCHECKED], "press")


def test_a_press_behind_a_covered_camera_is_asked_once_it_sees_again():
    for blind_for, asks in ((9.0, [NOT_WATCHED]), (2.0, [])):
        shift = Shift()
        shift.empties()
        shift.loads()
        shift.lays()
        shift.tell(Blinded("The camera is covered.", shift.at))
        shift.at += blind_for
        shift.tell(SeesAgain(shift.at))
        shift.see(Sight.SHEET)
        assert (shift.counts, shift.asks()) == ([], asks)


def test_a_transfer_that_no_picture_shows_is_asked_when_the_piece_is_taken_off():
    shift = Shift()
    shift.empties()
    shift.loads()
    shift.closes(opens=Sight.LOADED)
    shift.empties()
    assert (shift.counts, shift.asks(), shift.run.step) == ([], [UNCHECKED], "press")


def test_a_garment_that_is_not_sure_waits_for_a_key_or_to_be_moved():
    shift = Shift()
    shift.empties()
    shift.loads(fits=False)
    shift.see(Sight.LOADED, 5.0)
    assert shift.run.step == "load"
    assert shift.wished.count(Flash(FlashKind.GARMENT)) == 1
    shift.see(Sight.MOVING)
    shift.see(Sight.LOADED)  # a hand was there, nothing else
    assert shift.wished.count(Flash(FlashKind.GARMENT)) == 1
    shift.see(Sight.MOVING)
    shift.see(Sight.SHIFTED)
    assert shift.wished.count(Flash(FlashKind.GARMENT)) == 2
    shift.tell(GarmentRead(False, shift.at, proposed=True))
    shift.key()
    assert shift.run.step == "lay"
    shift.lays()
    shift.closes()
    assert shift.counts == [("a", True)]


def test_moving_stops_a_flash_and_what_it_told_is_not_taken():
    shift = Shift()
    shift.empties()
    shift.see(Sight.CLOTH)
    assert shift.wished[-1] == Flash(FlashKind.GARMENT)
    shift.see(Sight.MOVING)
    assert shift.wished[-1] == StopFlash()
    shift.tell(GarmentRead(True, shift.at))  # read while it moved
    assert shift.run.step == "load"


def test_a_press_counted_by_key_is_not_counted_again():
    shift = Shift()
    shift.empties()
    shift.loads()
    shift.lays()
    shift.see(Sight.MOVING)
    shift.see(Sight.COVERED, 9.0)
    assert shift.run.step == "press"
    shift.key()  # while the head is still down
    shift.see(Sight.COVERED, 9.0)
    shift.see(Sight.SHEET)
    assert shift.counts == [("a", False)]
    shift.see(Sight.CLOTH, 3.0)  # the old piece, crumpled: it is not the next one
    assert shift.run == RunAt("b", "load", DWELL)


def test_a_closing_that_a_person_counted_counts_for_nothing_else():
    shift = Shift(stays={"b"})
    shift.empties()
    shift.loads()
    shift.lays()
    shift.see(Sight.MOVING)
    shift.see(Sight.COVERED, 9.5)
    shift.key()  # the first is pressed
    shift.key()  # and by the same foot the second's press step is taken
    assert (shift.run.imprint, shift.run.step) == ("b", "press")
    shift.see(Sight.COVERED, 2.0)
    shift.see(Sight.SHEET)
    assert shift.counts == [("a", False)]
    assert len(shift.asks()) == 1


def test_the_camera_dying_leaves_the_keys_and_says_one_sentence():
    shift = Shift()
    shift.empties()
    shift.loads()
    shift.lays()
    shift.see(Sight.MOVING)
    shift.see(Sight.COVERED, 3.0)
    for _ in range(5):
        shift.tell(Blinded("The camera is gone: go on with the keys.", shift.at))
    said = [wish for wish in shift.wished if isinstance(wish, Say)]
    assert said == [Say("The camera is gone: go on with the keys.")]
    shift.see(Sight.COVERED, 9.0)  # what comes now means nothing
    shift.tell(SeesAgain(shift.at))
    shift.see(Sight.SHEET)
    assert (shift.counts, shift.asks()) == ([], [NOT_WATCHED])
    shift.key()
    assert shift.counts == [("a", False)]


def test_a_piece_taken_away_unpressed_is_asked_in_the_press_step():
    shift = Shift()
    shift.empties()
    shift.loads()
    shift.key()
    shift.see(Sight.MOVING)
    shift.see(Sight.EMPTY)
    assert shift.counts == []
    assert len(shift.asks()) == 1


def test_a_hand_that_stays_is_told_once_and_taken_back():
    shift = Shift()
    shift.empties()
    shift.loads()
    shift.see(Sight.REACHING, 9.0)
    said = [wish.words for wish in shift.wished if isinstance(wish, Say)]
    assert len(said) == 1
    shift.see(Sight.LOADED)
    assert shift.wished[-1] == Say("")


def test_a_shadow_that_stays_is_looked_into_and_stops_nothing():
    shift = Shift()
    shift.empties()
    shift.loads()
    shift.see(Sight.REACHING, 5.0)
    assert shift.wished[-1] == Flash(FlashKind.TRANSFER)
    shift.tell(NothingLies(shift.at))
    shift.see(Sight.LOADED)
    shift.lays()
    shift.closes()
    assert (shift.counts, shift.asks()) == ([("a", True)], [])


def test_a_shadow_taken_for_a_closing_counts_for_nothing():
    shift = Shift()
    shift.empties()
    shift.loads()
    shift.lays()
    shift.see(Sight.MOVING)
    shift.see(Sight.COVERED, 3.0)
    assert (shift.run.step, shift.wished[-1]) == ("press", Flash(FlashKind.LOOK))
    shift.tell(NotHidden(shift.at))
    shift.see(Sight.SHEET, 9.0)
    assert (shift.counts, shift.asks()) == ([], [])
    shift.see(Sight.MOVING)
    shift.see(Sight.COVERED, 3.0)
    shift.tell(Hidden(shift.at))
    shift.see(Sight.COVERED, 7.0)
    shift.see(Sight.SHEET)
    assert shift.counts == [("a", True)]


def test_what_was_flashed_for_and_is_not_there_is_looked_for_again_once_something_moves():
    shift = Shift()
    shift.empties()
    shift.loads()
    shift.see(Sight.SHEET)  # light lay there in which it was never seen
    shift.tell(NothingLies(shift.at))
    shift.see(Sight.SHEET, 3.0)
    assert shift.wished.count(Flash(FlashKind.TRANSFER)) == 1
    shift.lays()
    assert shift.wished.count(Flash(FlashKind.TRANSFER)) == 2
    shift.closes()
    assert shift.counts == [("a", True)]


def test_what_lies_there_at_the_start_is_not_taken_for_a_fresh_garment():
    shift = Shift()
    shift.see(Sight.CLOTH, 3.0)
    assert shift.wished == [Flash(FlashKind.EMPTY)]  # is it there, or only a shadow?
    shift.tell(EmptyRead(shift.at))
    shift.see(Sight.CLOTH, 3.0)
    assert len(shift.wished) == 1
    assert shift.run.step == "load"


def test_a_garment_is_remembered_when_it_was_read():
    shift = Shift()
    shift.empties()
    shift.loads()
    assert Remember() in shift.wished


HAPPENINGS = st.one_of(
    st.tuples(st.sampled_from(list(Sight)), st.sampled_from([0.1, 1.0, 4.0, 12.0])),
    st.sampled_from(
        ["key", "key", "back", "undo", "fits", "unsure", "askew", "good", "move", "cannot see",
         "empty read",
         "blind", "sees", "pause", "nothing", "hidden", "clear"]
    ),
)  # fmt: skip


@given(st.lists(HAPPENINGS, max_size=60), st.sampled_from([None, DWELL]))
def test_no_order_of_events_counts_a_press_twice_or_unseen(happenings, dwell):
    """Each count of the eye has a whole closing of its own, seen while a person did nothing."""
    shift = Shift("abcdefgh", stays={"b", "f"}, dwell=dwell)
    covered = 0.0  # of the stretch that runs, s, seen with open eyes
    closings = []  # the stretches seen since a person or the eye last counted
    for happening in happenings:
        before, by_eye = shift.run, [name for name, eye in shift.counts if eye]
        if isinstance(happening, tuple):
            sight, lasting = happening
            if not shift.state.blind:
                covered = covered + lasting if sight is Sight.COVERED else 0.0
                closings.append(covered)
            shift.see(sight, lasting)
        elif happening == "key":
            shift.key()
            assert shift.run != before or not before.imprint  # a key always wins
        elif happening == "back" and before.step in ("lay", "press"):
            step = {"lay": "load", "press": "lay"}[before.step]
            shift.go(replace(before, step=step), by_eye=False)
            assert shift.run.step == step
        elif happening == "undo" and shift.counts:
            name, _ = shift.counts.pop()
            shift.go(RunAt(name, "press", dwell), by_eye=False)
            closings.clear()
        elif happening in ("fits", "unsure", "askew"):
            shift.tell(GarmentRead(happening == "fits", shift.at, happening == "unsure"))
        elif happening in ("good", "move", "cannot see"):
            shift.tell(TransferRead(happening, shift.at))
        elif happening == "empty read":
            shift.tell(EmptyRead(shift.at))
        elif happening == "blind":
            shift.tell(Blinded("The camera is covered.", shift.at))
            covered = 0.0
        elif happening == "sees":
            shift.tell(SeesAgain(shift.at))
        elif happening in ("nothing", "hidden", "clear"):
            told = {"nothing": NothingLies, "hidden": Hidden, "clear": NotHidden}[happening]
            shift.tell(told(shift.at))
        elif happening == "pause":
            shift.go(replace(before, idle=not before.idle), by_eye=False)
        fresh = [name for name, eye in shift.counts if eye][len(by_eye) :]
        assert len(fresh) <= 1
        if fresh:
            assert isinstance(happening, tuple)  # only what is seen counts
            assert not before.idle
            least = 3.0 if dwell is None else dwell - 1.0
            assert max(closings) >= least - 0.15  # seen ten times a second
        names = [name for name, _ in shift.counts]
        assert len(names) == len(set(names))
        if shift.counts and len(shift.counts) > len(by_eye) and fresh:
            closings.clear()
            covered = 0.0


@given(st.lists(HAPPENINGS, max_size=30))
def test_a_question_is_out_at_most_once_for_each_press_step(happenings):
    """However often sights come and go, nobody is asked twice without having answered."""
    shift = Shift()
    asked_here = 0
    for happening in happenings:
        if happening == "key":
            shift.key()
            asked_here = 0
        elif isinstance(happening, tuple):
            place, count = shift.run.imprint, len(shift.asks())
            shift.see(*happening)
            asked_here += len(shift.asks()) - count
            if shift.run.imprint != place:
                asked_here = 0
        elif happening in ("good", "move", "cannot see"):
            shift.tell(TransferRead(happening, shift.at))
        elif happening == "fits":
            shift.tell(GarmentRead(True, shift.at))
        assert asked_here <= 1
