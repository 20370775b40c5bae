"""What can happen in a run: events that are only ever added, never changed."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import Enum
from typing import Any


class Step(Enum):
    """Where the operator is with the current imprint."""

    LOAD = "load"
    PREPRESS = "prepress"
    """The bare garment is under the head, where its transfer's sheet asks for that."""
    LAY = "lay"
    PRESS = "press"
    PEEL = "peel"
    """Pressed: it cools, is peeled, and is made ready for a second press."""
    SECOND = "second"
    """Under the head once more, which is no press of its own."""


UNDER_HEAD = frozenset({Step.PREPRESS, Step.PRESS, Step.SECOND})
"""Steps with the press closed: the light is off."""

AFTER_PRESS = frozenset({Step.PEEL, Step.SECOND})
"""Steps of an imprint that is pressed already."""


class Kind(Enum):
    """What happened."""

    OPENED = "opened"
    """Someone began or went on working: a session starts here."""
    STEPPED = "stepped"
    """On to a step of an imprint, by the order or by a jump. `imprint`, `step`. Data: laid, as for
    ASIDE, on to the peel."""
    NUDGED = "nudged"
    """The lay lines were moved. Data: x, y (mm), angle (rad), batch (key or empty)."""
    COLLARED = "collared"
    """The garment frame was moved to the real collar. Data as NUDGED; replaces the last."""
    PRESET = "preset"
    """Another location was chosen for the imprint; `step` begins there (none in old records).
    Data: location."""
    ASIDE = "aside"
    """The press closed on the imprint and opened again; the garment is put aside, its carrier on,
    and the next one goes on meanwhile. Data: wait (s until the peel; none where nobody says),
    laid (id of what was laid beside and pressed with it)."""
    PRESSED = "pressed"
    """The imprint is done: the press closed on it and opened again, and what its sheet asks for
    after that. Data: pose (x, y, angle); seen, what the press's camera measured (none without
    one); garment, how it lies (turned, and right and down as the shop's own rule has moved the
    print; none in old records). `step` is LOAD where the garment is loaded again for what follows
    though the plan lets it stay."""
    SKIPPED = "skipped"
    """The imprint is left out for now; `step` as for PRESSED. Data: reason."""
    SPOILED = "spoiled"
    """The piece is spoiled. Data: reason, replaced (a fresh garment takes its place),
    missing (for want of what none does), used (the transfer was on it; none in old records)."""
    WASTED = "wasted"
    """A transfer is spoiled before it was pressed, and the garment is good. Data: reason."""
    STOCKED = "stocked"
    """What there is for the order, as the shop has listed it; replaces the last. Data: transfers
    (how many by `PrintedTransfer.key`), words (what each is called), sheets (an imprint's sheet and
    the number on it), garments (how many by pile)."""
    PAUSED = "paused"
    WENT_ON = "went on"
    UNDONE = "undone"
    """Takes back the event named in data: event."""
    REDONE = "redone"
    """Puts the event named in data: event back in force."""
    SET = "set"
    """The press was set to what the imprint wants, as the operator says. Data: setting, in
    words."""
    FITTED = "fitted"
    """The platen that the imprint wants was put on, as the operator says. Data: platen, its
    name."""
    CONFIRMED = "confirmed"
    """The garment in hand was looked at: size label and colour are right. Data: by (key, scan or
    eye), size, colour."""
    CARRIED = "carried"
    """Done already in an earlier run of the order, before it was edited. Data: outcome, run, as
    (the imprint's id there); pose, nudge and location as for PRESSED."""
    BROUGHT = "brought"
    """A reorder that presses share: how the like imprint lay last time. Data: location, nudge,
    pose, pieces, as of `chalkbeam.record.reorder.Earlier`."""
    CLAIMED = "claimed"
    """The press may work these pieces of an order that several presses share; no others. The
    first one, of no pieces, makes an order such. Data: claim, pieces."""
    GIVEN = "given"
    """The press works these pieces no more: it gave them back, or another press took them over.
    Data: pieces."""
    NOTED = "noted"
    """A remark, such as an artwork file gone missing. Data: text; print, where the press's camera
    saw the pressed print lie (as the transfer in `seen` of PRESSED)."""
    CLOSED = "closed"
    """The session was left on purpose."""


REVOCABLE = frozenset(
    {
        Kind.STEPPED,
        Kind.NUDGED,
        Kind.COLLARED,
        Kind.PRESET,
        Kind.ASIDE,
        Kind.PRESSED,
        Kind.SKIPPED,
        Kind.SPOILED,
        Kind.WASTED,
        Kind.SET,
        Kind.FITTED,
        Kind.CONFIRMED,
    }
)
"""What undo can take back."""


def new_id() -> str:
    """Return an id for an event, made once when the key is pressed, before anything is written."""
    return uuid.uuid4().hex


@dataclass(frozen=True)
class NewEvent:
    """What is to be recorded. Attributes as of `Event`."""

    kind: Kind
    imprint: str = ""
    step: Step | None = None
    data: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Event:
    """One thing that happened.

    Attributes
    ----------
    id : str
        Made by `new_id`. Writing an event a second time under its id changes nothing.
    kind : Kind
    imprint : str
        Id of the imprint it is about; empty if about none.
    step : Step or None
    data : mapping
        See `Kind`. Plain JSON values.
    seq : int
        Place in the record, from 1; 0 until written. The only thing that says what came first.
    session : str
        Which session. `clock` compares only within one.
    clock : float
        Seconds on the computer's monotonic clock.
    wall : str
        Date and time (ISO 8601, UTC), for people only: it may run backwards.
    operator, rig, calibration : str
        Who, at which press, and the id of the calibration in force.
    """

    id: str
    kind: Kind
    imprint: str = ""
    step: Step | None = None
    data: Mapping[str, Any] = field(default_factory=dict)
    seq: int = 0
    session: str = ""
    clock: float = 0.0
    wall: str = ""
    operator: str = ""
    rig: str = ""
    calibration: str = ""


def in_force(events: Iterable[Event]) -> list[Event]:
    """Return the events less those taken back, in order, without the undos and redos."""
    kept = list(events)
    undone: set[str] = set()
    for event in kept:
        if event.kind is Kind.UNDONE:
            undone.add(event.data["event"])
        elif event.kind is Kind.REDONE:
            undone.discard(event.data["event"])
    return [
        event
        for event in kept
        if event.id not in undone and event.kind not in (Kind.UNDONE, Kind.REDONE)
    ]
