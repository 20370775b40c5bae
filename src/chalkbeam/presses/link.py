"""A press at work and the queue: a thread of its own asks it, so that no light ever waits.

The window's thread alone writes to the press's record. What the queue gives comes to it as an
input, and is in force once it is on record.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import suppress

from calibration.refusal import Refusal
from chalkbeam.presses import conflicts, following
from chalkbeam.presses.board import why_nothing
from chalkbeam.presses.claims import Claim, Wish
from chalkbeam.presses.engine import Queue
from chalkbeam.presses.heard import heard_file, keep
from chalkbeam.presses.news import FromQueue
from chalkbeam.presses.taking_part import TakingPart, holder_names, open_pieces
from chalkbeam.record.progress import Progress
from chalkbeam.record.runs import Run

ROUND = 0.4
"""Seconds between two looks: acts of a while go up together, beside the keys and not with each; a
board that looks as often is behind by less than one."""
AWAY = 2.0
"""Seconds until a queue that did not answer is tried again."""
TRAY = 12
"""Pieces that a press has in hand at least, as long as there are any: what it goes on with while
the queue is away."""


class QueueLink:
    """Keeps a press at work and the queue up to date with each other.

    Parameters
    ----------
    part : TakingPart
        From `listen` on, this thread's alone.
    run : Run
    tray : int
    """

    def __init__(self, part: TakingPart, run: Run, tray: int = TRAY) -> None:
        self._part, self._run, self._tray = part, run, tray
        self._post: Callable[[FromQueue], None] = lambda news: None
        self._following = following.Following(run.stops, part.id)
        self._over = threading.Event()
        self._thread: threading.Thread | None = None
        self._counts: dict[str, int] = {}
        self._told: set[int] = set()
        self._mine: frozenset[str] = frozenset()
        self._offered: frozenset[str] = frozenset()
        self._in_hand = 0
        self._wish = Wish(part.at_hand)
        self._away = self._waiting = ""
        self._seen_last = -1

    def listen(self, post: Callable[[FromQueue], None]) -> None:
        """Begin; news are passed to `post`, from this link's thread."""
        self._post = post
        self._thread = threading.Thread(target=self._work, daemon=True, name="queue")
        self._thread.start()

    def notice(self, progress: Progress) -> None:
        """See how far the press is; to be called by the window's thread when nothing waits."""
        last = self._part.store.journal.last
        if last == self._seen_last:
            return
        self._seen_last = last
        self._mine = progress.mine or frozenset()
        self._in_hand = len(open_pieces(progress))
        self._wish = self._part.wish(progress)

    def close(self) -> None:
        """End, once the queue has all that was done, or does not answer."""
        self._over.set()
        if self._thread is not None:
            self._thread.join(5.0)

    def _work(self) -> None:
        while True:
            over = self._over.is_set()
            try:
                self._round(over)
            except Refusal as refusal:  # the press goes on with what it has
                self._part.close()
                self._away_now(str(refusal))
            if over:
                return
            self._over.wait(AWAY if self._away else ROUND)

    def _away_now(self, why: str) -> None:
        if why != self._away:
            self._away = why
            self._post(FromQueue(away=why))

    def _round(self, over: bool) -> None:
        queue = self._part.try_queue()
        if queue is None:
            self._away_now(self._part.away)
            return
        if self._away:
            self._away = ""
            self._post(FromQueue())
        if over:
            return
        self._follow(queue)
        if self._in_hand < self._tray and self._offered <= self._mine and self._mine:
            self._claim_more(queue)

    def _follow(self, queue: Queue) -> None:
        """Look at what others did, where anyone did anything."""
        counts, decided = queue.transact(
            lambda c: (following.counts(c), following.decisions(c, self._run.id))
        )
        others = {press: count for press, count in counts.items() if press != self._part.id}
        others[self._run.id] = decided
        if others == self._counts:
            return
        news = queue.transact(
            lambda c: following.look(c, self._part.id, self._run.id, self._following.seen)
        )
        before = self._following.elsewhere
        elsewhere = self._following.take(news)
        self._counts = others
        lost = {
            piece: holder
            for piece in self._mine
            if (holder := news.holders.get(piece, "")) != self._part.id
        }
        names = queue.transact(lambda c: holder_names(c, self._run.id)) if lost else {}
        told = [
            each
            for each in queue.transact(lambda c: conflicts.open_conflicts(c, self._run.id))
            if self._part.press.name in (each.press, each.holder)
        ]
        new = [each for each in told if each.number not in self._told]
        self._told |= {each.number for each in new}
        if elsewhere != before:
            with suppress(Refusal):
                keep(heard_file(self._part.store.path, self._run.id), elsewhere)
        if elsewhere != before or lost or new:
            self._post(
                FromQueue(
                    lost={piece: names.get(piece, "the queue") for piece in lost},
                    elsewhere=elsewhere,
                    said=tuple(str(each) for each in new),
                )
            )

    def _claim_more(self, queue: Queue) -> None:
        claim: Claim | None = self._part.claim(queue, self._run.id, self._wish)
        if claim is not None:
            self._offered = frozenset(claim.pieces)
            self._waiting = ""
            self._post(FromQueue(claimed=(claim,)))
            return
        waiting = queue.transact(lambda c: why_nothing(c, self._run.id, self._wish))
        if waiting != self._waiting and not self._in_hand:
            self._waiting = waiting
            self._post(FromQueue(waiting=waiting))
