"""A run summed up: counts, spoilage, time a piece, and what the corrections say."""

from __future__ import annotations

import math
import statistics
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from chalkbeam.orders.pieces import piece_of
from chalkbeam.placement.shift import Shift
from chalkbeam.record.account import Account, account_of
from chalkbeam.record.events import Event, Kind, in_force
from chalkbeam.record.laid import printed_of
from chalkbeam.record.progress import Outcome, Progress
from chalkbeam.record.runs import Run
from chalkbeam.record.step_times import Typical, step_times, typical_times
from chalkbeam.record.trends import Trend, trends


@dataclass(frozen=True)
class ImprintOutcome:
    """An imprint that was pressed, skipped or spoiled.

    Attributes
    ----------
    event : Event
    seconds : float or None
        Since the outcome before it in the same session, pauses taken out; None if unknown.
    added, nudge : Shift
        Correction that the operator added here, and the whole one in force, platen frame.
    printed : Shift or None
        Where the press's camera saw the pressed print, off its target; None where it did not.
    """

    event: Event
    seconds: float | None
    added: Shift
    nudge: Shift
    printed: Shift | None = None

    @property
    def result(self) -> str:
        """What happened, in a word."""
        return self.event.kind.value


@dataclass(frozen=True)
class TransferUse:
    """A transfer in numbers.

    Attributes
    ----------
    words : str
    printed, used : int
    """

    words: str
    printed: int
    used: int

    @property
    def left(self) -> int:
        """How many are left."""
        return self.printed - self.used


@dataclass(frozen=True)
class RunSummary:
    """A run in numbers.

    Attributes
    ----------
    pieces, imprints : int
        Ordered.
    finished : int
        Pieces with every imprint pressed.
    pressed, skipped, open : int
        Imprints.
    spoiled, replaced : int
        Garments spoiled, and how many of them a fresh one replaced.
    causes : tuple of (str, int)
        Spoiled garments by reason, the most frequent first.
    piece_seconds : tuple of float
        For each finished piece whose every outcome was timed, the sum, in the order they ended.
    working : float
        Seconds of all timed outcomes.
    measure : float
        Seconds for measuring a piece by hand, for comparison.
    outcomes : tuple of ImprintOutcome
        In the order they happened.
    trends : (Trend, Trend)
        Corrections along x and y.
    steps : tuple of Typical
        How long each step took, as measured.
    transfers : tuple of TransferUse
        What became of the transfers that the shop has listed.
    account : Account
        What people ask after.
    taste : tuple of str
        The shop's own rules in force, and what is offered to be kept as one, a sentence each.
    """

    run: Run
    pieces: int
    imprints: int
    finished: int
    pressed: int
    skipped: int
    open: int
    spoiled: int
    replaced: int
    causes: tuple[tuple[str, int], ...]
    piece_seconds: tuple[float, ...]
    working: float
    measure: float
    outcomes: tuple[ImprintOutcome, ...]
    trends: tuple[Trend, Trend]
    transfers: tuple[TransferUse, ...]
    steps: tuple[Typical, ...]
    account: Account
    taste: tuple[str, ...] = ()

    @property
    def typical(self) -> float | None:
        """Median seconds a finished piece; None if none was timed."""
        return statistics.median(self.piece_seconds) if self.piece_seconds else None

    @property
    def saved(self) -> float:
        """Seconds that measuring the finished pieces by hand would have added, by estimate."""
        return self.measure * self.finished

    def findings(self) -> tuple[str, ...]:
        """Return what the corrections say, a sentence each."""
        return tuple(said for each in self.trends if (said := each.sentence()))


MEASURE = 60.0
"""Measuring a piece by hand: up to a minute (common practice, no source)."""


def summarise(run: Run, events: Iterable[Event], measure: float = MEASURE) -> RunSummary:
    """Sum up a run.

    Parameters
    ----------
    run : Run
    events : iterable of Event
        Its events by sequence number.
    measure : float
        Seconds for measuring a piece by hand.
    """
    everything = list(events)
    in_effect = in_force(everything)
    progress = Progress(run.stops, everything)
    outcomes = _outcomes(in_effect)
    counts = Counter(progress.outcomes.values())
    spoiled = [event for event in in_effect if event.kind is Kind.SPOILED]
    causes = Counter(str(event.data.get("reason") or "no reason given") for event in spoiled)
    by_piece: dict[str, list[str]] = {}
    for stop in run.stops:
        by_piece.setdefault(stop.piece.id, []).append(stop.imprint.id)
    finished = [
        piece
        for piece, imprints in by_piece.items()
        if all(progress.outcomes.get(imprint) is Outcome.PRESSED for imprint in imprints)
    ]
    pressed = [each for each in outcomes if each.event.kind is Kind.PRESSED]
    return RunSummary(
        run=run,
        pieces=len(by_piece),
        imprints=len(run.stops),
        finished=len(finished),
        pressed=counts[Outcome.PRESSED],
        skipped=counts[Outcome.SKIPPED],
        open=len(run.stops) - len(progress.outcomes),
        spoiled=len(spoiled),
        replaced=sum(bool(event.data.get("replaced")) for event in spoiled),
        causes=tuple(causes.most_common()),
        piece_seconds=_piece_seconds(outcomes, finished),
        working=sum(each.seconds or 0.0 for each in outcomes),
        measure=measure,
        outcomes=tuple(outcomes),
        trends=trends([each.added for each in pressed], [each.nudge for each in pressed]),
        steps=typical_times(step_times(run.stops, everything)),
        transfers=tuple(
            TransferUse(progress.stock.words[key], count, progress.stock.used.get(key, 0))
            for key, count in progress.stock.transfers.items()
        ),
        account=account_of(run.stops, everything),
    )


def _outcomes(events: Sequence[Event]) -> list[ImprintOutcome]:
    """Return the outcomes in force, each with its time and its correction."""
    outcomes: list[ImprintOutcome] = []
    added: dict[str, Shift] = {}
    before: dict[str, float | None] = {}  # what was pressed and put aside took so long until then
    since: tuple[str, float] | None = None  # session, and its clock where timing starts
    idle = 0.0
    paused: float | None = None
    for event in events:
        if event.kind is Kind.OPENED:
            since, idle, paused = (event.session, event.clock), 0.0, None
        elif event.kind is Kind.PAUSED:
            paused = event.clock
        elif event.kind is Kind.WENT_ON and paused is not None:
            idle, paused = idle + event.clock - paused, None
        elif event.kind is Kind.NUDGED:
            added[event.imprint] = added.get(event.imprint, Shift()) + Shift.of(event.data)
        elif event.kind is Kind.NOTED and (off := printed_of(event)) is not None:
            _note(outcomes, event.imprint, off)
        elif event.kind in (Kind.ASIDE, Kind.PRESSED, Kind.SKIPPED, Kind.SPOILED):
            seconds = None
            if since is not None and since[0] == event.session:
                seconds = max(0.0, event.clock - since[1] - idle)
            since, idle = (event.session, event.clock), 0.0
            earlier = before.pop(event.imprint, 0.0)
            seconds = None if seconds is None or earlier is None else seconds + earlier
            if event.kind is Kind.ASIDE:
                before[event.imprint] = seconds
                continue
            nudge = _shift(event.data.get("nudge"))
            here = added.pop(event.imprint, Shift())
            outcomes.append(ImprintOutcome(event, seconds, here, nudge))
    return outcomes


def _note(outcomes: list[ImprintOutcome], imprint: str, printed: Shift) -> None:
    """Put where a print lies with the last press of its imprint, if that is still in force."""
    for place in reversed(range(len(outcomes))):
        if outcomes[place].event.imprint == imprint:
            outcomes[place] = replace(outcomes[place], printed=printed)
            return


def _shift(data: Mapping[str, Any] | None) -> Shift:
    return Shift.of(data) if data else Shift()


def _piece_seconds(
    outcomes: Sequence[ImprintOutcome], finished: Sequence[str]
) -> tuple[float, ...]:
    """Return the time of each finished piece, all attempts summed; untimed pieces left out."""
    sums: dict[str, float] = {}
    for each in outcomes:
        piece = piece_of(each.event.imprint)
        before = sums.pop(piece, 0.0)  # put in last, so that pieces come in the order they ended
        sums[piece] = before + (math.nan if each.seconds is None else each.seconds)
    done = set(finished)
    return tuple(s for piece, s in sums.items() if piece in done and not math.isnan(s))
