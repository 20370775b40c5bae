"""What an imprint is called at the press: its piece, its location, its artwork."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePath

from chalkbeam.garments.library import style_words
from chalkbeam.orders.order_of_work import Stop
from chalkbeam.orders.pieces import ArtKind, piece_of
from chalkbeam.orders.settings import Setting
from chalkbeam.record.events import Event, Kind, Step
from chalkbeam.record.progress import At, Outcome, Progress


def piece_lines(stop: Stop) -> tuple[str, ...]:
    """Return what tells a piece from its neighbours, a line each: colour and size, whose it is."""
    piece = stop.piece
    whose = " ".join(part for part in (piece.name, piece.number) if part)
    if piece.recipient:
        whose = f"{whose} for {piece.recipient}".strip()
    what = ", ".join(part for part in (piece.colour, piece.size) if part)
    return tuple(part for part in (what, whose) if part)


def garment_lines(stop: Stop) -> tuple[str, ...]:
    """Return the same for whoever takes the garment up: with what it is."""
    piece = stop.piece
    whose = piece_lines(stop)[bool(piece.colour or piece.size) :]
    what = " ".join(part for part in (piece.colour, style_words(piece.style)) if part)
    return (", ".join(part for part in (what, piece.size) if part), *whose)


def piece_words(stop: Stop) -> str:
    """Return the same in one line."""
    return ", ".join(piece_lines(stop))


def place_words(location: str) -> str:
    """Return a location's name as people say it."""
    return location.replace("-", " ")


def art_words(stop: Stop) -> str:
    """Return what is pressed: a file without its ending, or the name or number itself."""
    art = stop.imprint.art
    return PurePath(art.text).stem if art.kind is ArtKind.FILE else art.text


def elsewhere_words(stop: Stop, there: str, here: str) -> str:
    """Return the question whether artwork goes to another location than the one in force."""
    return f"Put {art_words(stop)} at {place_words(there)} in place of {place_words(here)}?"


def garment_words(stop: Stop) -> str:
    """Return the question whether the garment in hand is the one that a piece wants."""
    piece = stop.piece
    what = ", ".join(part for part in (piece.size, piece.colour) if part)
    return f"Piece {piece.id}: look at the label. Is it {what}?"


def unseen_words(progress: Progress) -> str:
    """Return what is asked where a camera did not see the press close, with the keys to answer."""
    asked = pressed_words(progress)
    return f"{asked} space: yes, page up: no" if asked else ""


def press_words(progress: Progress, at: At) -> str:
    """Return which press of how many a stop is; what is skipped or spoiled counts as done."""
    stops, now = progress.count, progress.stop
    before = len(progress.outcomes)
    if now is not None and at.index != progress.at.index:  # foreseen: by then this one is pressed
        before += now.imprint.id not in progress.outcomes
    return f"press {min(before + 1, stops)} of {stops}"


def hand_words(stop: Stop) -> tuple[str, ...]:
    """Return what the sheet says to whoever has the piece in hand: its note, whose order it is."""
    piece = stop.piece
    order = " ".join(part for part in (piece.customer, piece.order_number) if part)
    return tuple(part for part in (piece.note, order) if part)


LIFT = "lift it, smooth it, let the steam out"
"""After a pre-press; common practice, no source."""


Lines = tuple[str, ...]


def step_words(progress: Progress) -> tuple[Lines, Lines]:
    """Return what to do while the time of the current step runs, and when it is over.

    Settings are told as the transfer's sheet gives them; where it says nothing, nothing is said.
    """
    stop, index = progress.stop, progress.at.index
    if stop is None or index is None:
        return (), ()
    press, setting = stop.imprint.press, Setting.of(stop.imprint.press)
    peel = "" if setting is None else setting.peel
    match progress.at.step:
        case Step.PREPRESS:
            return ("close the press on the bare garment",), (f"open, {LIFT}",)
        case Step.PRESS if press.cooling:
            return (), ("open now, leave the carrier on", f"it cools {press.cooling}")
        case Step.PRESS if "hot" in peel:
            return (), (f"open now, peel at once: {peel}",)
        case Step.PRESS:
            return (), (f"open now, peel: {peel}" if peel else "open now",)
        case Step.PEEL:
            waits = progress.waits(index)
            aside = waits is not None and waits.aside
            unsaid = press.cooling and (waits is None or waits.wait is None)
            when = f"cooled ({press.cooling})? Peel it" if unsaid else "peel it now"
            told = [f"{when}: {peel}" if peel else when]
            if press.second:
                told += ["lay it on the platen again"] if aside else []
                told += ["close for the second press", press.second]
            return ("let it cool", "the carrier on"), tuple(told)
        case Step.SECOND:
            return (), ("open now",)
        case _:
            return (), ()


def _none(count: int) -> str:
    return "none" if count <= 0 else str(count)


def fresh_words(progress: Progress) -> str:
    """Return what is asked of a spoiled piece, with what is left for another one where known."""
    index = progress.at.index
    if index is None:
        return "Spoiled: and now?"
    left = [] if (count := progress.garments_left(index)) is None else [f"garments {_none(count)}"]
    for stop in progress.laid_on(index):
        count = progress.stock.transfers_left(stop)
        # The one under the press is used up, though the record has not counted it yet.
        here = stop == progress.stop and progress.at.step is Step.PRESS
        if count is not None:
            where = place_words(stop.imprint.location)
            left.append(f"{where} transfers {_none(count - here)}")
    return f"Spoiled: and now? Left: {', '.join(left)}." if left else "Spoiled: and now?"


def wasted_words(progress: Progress) -> str:
    """Return what is left of the current imprint's transfer once one more is spoiled."""
    count = None if progress.stop is None else progress.stock.transfers_left(progress.stop)
    if count is None:
        return "take another transfer; S skips it if there is none"
    if count <= 1:
        return "no transfer left by the list: S skips it"
    return f"take another transfer: {count - 1} left"


def unpeeled_pieces(progress: Progress) -> tuple[str, ...]:
    """Return the pieces that are pressed and still have a carrier on, or a second press to come."""
    places = [each for each in range(len(progress.stops)) if progress.waits(each) is not None]
    return tuple(dict.fromkeys(progress.stops[each].piece.id for each in places))


def cooling_lines(progress: Progress) -> tuple[str, ...]:
    """Return which pieces were put aside to cool, in one line; empty if none was."""
    ids = ", ".join(dict.fromkeys(progress.stops[each].piece.id for each in progress.aside()))
    return (f"cooling: {ids}",) if ids else ()


_WAS_PRESSED = {
    Step.PREPRESS: "was it pre-pressed?",
    Step.SECOND: "was it pressed the second time?",
}


def pressed_words(progress: Progress) -> str:
    """Return the question whether the current imprint was pressed, as its step asks for it.

    After a power cut, after an undo, and before the press step is left for another piece. It
    names the imprint: with the press step dark, nothing else in the light does.
    """
    stop, index = progress.stop, progress.at.index
    if stop is None or index is None:
        return ""
    which = f"piece {stop.piece.id}"
    what = f"{place_words(progress.location(index))}: {art_words(stop)}"
    said = ", ".join(part for part in (which, piece_words(stop), what) if part)
    return f"{said}: {_WAS_PRESSED.get(progress.at.step, 'was it pressed?')}"


def finished_words(progress: Progress) -> str:
    """Return what is told where nothing is left to do: of the order, or at this press."""
    return "the order is finished" if progress.mine is None else "nothing more in hand here"


def summary(progress: Progress) -> tuple[str, ...]:
    """Return how the order ended, a line each."""
    outcomes = list(progress.outcomes.values())
    spoiled = sum(progress.spoiled_pieces.values())
    done = {piece_of(each) for each, how in progress.outcomes.items() if how is Outcome.PRESSED}
    count = f"{len(done)} {'piece' if len(done) == 1 else 'pieces'}"
    laid = outcomes.count(Outcome.PRESSED)
    pressed = f"{laid} {'imprint' if laid == 1 else 'imprints'} pressed on {count}"
    lines = [finished_words(progress), pressed]
    skipped = outcomes.count(Outcome.SKIPPED)
    if skipped:
        lines.append(f"{skipped} skipped")
    if spoiled:
        lines.append(f"{spoiled} {'piece' if spoiled == 1 else 'pieces'} spoiled")
    return tuple(lines)


ENDS = "Escape twice ends it; press off if nothing follows"
"""The last line of a finished order; the page names its button instead."""

MOST_NAMED = 3
"""More imprints or pieces than this are only counted."""


def to_do(progress: Progress) -> tuple[str, ...]:
    """Return what is to be done once the order is finished, a line each."""
    skipped, spoiled = [], dict[str, None]()
    for index, stop in enumerate(progress.stops):
        match progress.outcomes.get(stop.imprint.id):
            case Outcome.SKIPPED:
                skipped.append(f"{stop.piece.id} {place_words(progress.location(index))}")
            case Outcome.SPOILED:
                spoiled[stop.piece.id] = None
    lines = []
    if skipped:
        lines.append(f"to press yet: {_named(skipped)}: J goes there")
    if spoiled:
        lines.append(f"spoiled, to be replaced: {_named(list(spoiled))}")
    if progress.mine is None:
        lines.append("count the pieces against the order")
    return (*lines, ENDS)


def _named(names: Sequence[str]) -> str:
    more = len(names) - MOST_NAMED
    return ", ".join(names[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


def act_words(event: Event) -> str:
    """Return an act in words."""
    words = {
        Kind.STEPPED: "a step",
        Kind.ASIDE: "that it was put aside",
        Kind.NUDGED: "a move of the lines",
        Kind.COLLARED: "a move of the collar",
        Kind.PRESET: "a change of location",
        Kind.SET: "that the press is set",
        Kind.FITTED: "that the platen is on",
        Kind.WASTED: "that a transfer is spoiled",
        Kind.CONFIRMED: "that the garment is the right one",
    }
    piece = piece_of(event.imprint)
    return f"{words.get(event.kind, event.kind.value)}{', piece ' if piece else ''}{piece}"
