"""What a run came to: counts, spoilage, time a piece, and what the corrections say."""

from __future__ import annotations

import math
import statistics
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from chalkbeam.orders.pieces import piece_of
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Event, Kind, in_force
from chalkbeam.record.progress import Outcome, Progress
from chalkbeam.record.store import Run
from chalkbeam.record.trends import Trend, trends


@dataclass(frozen=True)
class ImprintOutcome:
    """An imprint that was pressed, skipped or spoiled.

    Attributes
    ----------
    event : Event
    seconds : float or None
        Since the act before it in the same sitting, pauses taken out; None if unknown.
    own, nudge : Shift
        Correction that the operator made here, and the whole one in force, platen frame.
    """

    event: Event
    seconds: float | None
    own: Shift
    nudge: Shift

    @property
    def result(self) -> str:
        """What happened, in a word."""
        return self.event.kind.value


@dataclass(frozen=True)
class Report:
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
        For each finished piece whose every act was timed, the sum, in the order they ended.
    working : float
        Seconds of all timed acts.
    measure : float
        Seconds for measuring a piece by hand, for comparison.
    acts : tuple of ImprintOutcome
        In the order they happened.
    trends : (Trend, Trend)
        Corrections along x and y.
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
    acts: tuple[ImprintOutcome, ...]
    trends: tuple[Trend, Trend]

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


def report(run: Run, events: Iterable[Event], measure: float = MEASURE) -> Report:
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
    kept = in_force(everything)
    progress = Progress(run.stops, everything)
    acts = _acts(kept)
    outcomes = Counter(progress.outcomes.values())
    spoiled = [event for event in kept if event.kind is Kind.SPOILED]
    causes = Counter(str(event.data.get("reason") or "no reason given") for event in spoiled)
    by_piece: dict[str, list[str]] = {}
    for stop in run.stops:
        by_piece.setdefault(stop.piece.id, []).append(stop.imprint.id)
    finished = [
        piece
        for piece, imprints in by_piece.items()
        if all(progress.outcomes.get(imprint) is Outcome.PRESSED for imprint in imprints)
    ]
    pressed = [act for act in acts if act.event.kind is Kind.PRESSED]
    return Report(
        run=run,
        pieces=len(by_piece),
        imprints=len(run.stops),
        finished=len(finished),
        pressed=outcomes[Outcome.PRESSED],
        skipped=outcomes[Outcome.SKIPPED],
        open=len(run.stops) - len(progress.outcomes),
        spoiled=len(spoiled),
        replaced=sum(bool(event.data.get("replaced")) for event in spoiled),
        causes=tuple(causes.most_common()),
        piece_seconds=_piece_seconds(acts, finished),
        working=sum(act.seconds or 0.0 for act in acts),
        measure=measure,
        acts=tuple(acts),
        trends=trends([act.own for act in pressed], [act.nudge for act in pressed]),
    )


def _acts(events: Sequence[Event]) -> list[ImprintOutcome]:
    """Return the acts in force, each with its time and its correction."""
    acts: list[ImprintOutcome] = []
    own: dict[str, Shift] = {}
    since: tuple[str, float] | None = None  # sitting, and its clock where timing starts
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
            own[event.imprint] = own.get(event.imprint, Shift()) + Shift.of(event.data)
        elif event.kind in (Kind.PRESSED, Kind.SKIPPED, Kind.SPOILED):
            seconds = None
            if since is not None and since[0] == event.session:
                seconds = max(0.0, event.clock - since[1] - idle)
            nudge = _shift(event.data.get("nudge"))
            acts.append(ImprintOutcome(event, seconds, own.pop(event.imprint, Shift()), nudge))
            since, idle = (event.session, event.clock), 0.0
    return acts


def _shift(data: Mapping[str, Any] | None) -> Shift:
    return Shift.of(data) if data else Shift()


def _piece_seconds(acts: Sequence[ImprintOutcome], finished: Sequence[str]) -> tuple[float, ...]:
    """Return the time of each finished piece, all attempts summed; untimed pieces left out."""
    sums: dict[str, float] = {}
    for act in acts:
        piece = piece_of(act.event.imprint)
        before = sums.pop(piece, 0.0)  # put in anew, so that pieces stand as they ended
        sums[piece] = before + (math.nan if act.seconds is None else act.seconds)
    done = set(finished)
    return tuple(s for piece, s in sums.items() if piece in done and not math.isnan(s))
