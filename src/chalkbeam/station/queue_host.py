"""The queue of several presses, in the window's thread: its news on record first, then in force."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from calibration.refusal import Refusal
from chalkbeam.presses.news import FromQueue, lost_words
from chalkbeam.record.elsewhere import Elsewhere
from chalkbeam.record.events import Step
from chalkbeam.record.progress import Progress
from chalkbeam.station.controller import StationController
from overlay.window.inputs import Input, Told


class QueueSource(Protocol):
    """What an order is shared by; it asks in a thread of its own."""

    def listen(self, post: Callable[[FromQueue], None]) -> None:
        """Begin, and pass news on from now on."""

    def notice(self, progress: Progress) -> None:
        """See how far the press is."""

    def close(self) -> None:
        """End, once what was done is told, if that can be."""


class QueueInWindow:
    """Takes the queue's news in the window's thread.

    Parameters
    ----------
    source : QueueSource
    say : callable
        Is told what a person beside the light is to know.
    """

    def __init__(self, source: QueueSource, say: Callable[[str], None]) -> None:
        self._source, self._say = source, say
        self._post: Callable[[Input], None] = lambda happened: None
        self._controller: StationController | None = None
        self._heard: Elsewhere | None = None
        self._away = ""

    def listen(self, post: Callable[[Input], None]) -> None:
        """Take what passes an input on to the window's thread."""
        self._post = post

    def begin(self, controller: StationController) -> None:
        """Begin to work with the queue."""
        self._controller = controller
        self._source.notice(controller.session.progress)
        self._source.listen(lambda news: self._post(Told(news)))

    def take(self, happened: Input) -> bool:
        """Take an input if it is news of the queue; return whether it was."""
        match happened:
            case Told(FromQueue() as news) if self._controller is not None:
                self._take(self._controller, news)
                return True
            case _:
                return False

    def _take(self, controller: StationController, news: FromQueue) -> None:
        progress = controller.session.progress
        mine = progress.mine or frozenset()
        here = progress.stop
        lost = [piece for piece in news.lost if piece in mine]
        said = [*lost_words({piece: news.lost[piece] for piece in lost}), *news.said]
        try:
            for claim in news.claimed:
                new = [piece for piece in claim.pieces if piece not in mine]
                if new:
                    controller.session.claim(claim.id, new)
            if lost:
                controller.session.give(lost)
        except Refusal as refusal:  # it is not on record, so not in force: it comes again
            said.append(str(refusal))
        self._heard = news.elsewhere or self._heard
        changes: dict[str, object] = {"said": " ".join(said)} if said else {}
        if here is not None and here.piece.id in lost:
            changes |= {"asking": None, "pressing_since": None, "sure": False, "laid": ""}
        controller.run_changed(news.away or news.waiting, **changes)
        self._hear(controller)
        for sentence in (*said, "" if news.away == self._away else news.away):
            if sentence:
                self._say(sentence)
        self._away = news.away

    def _hear(self, controller: StationController) -> None:
        """Let what others said be in force where nothing is laid: no line moves under hands."""
        progress = controller.session.progress
        loading = progress.stop is None or progress.at.step is Step.LOAD
        if self._heard is not None and loading:
            heard, self._heard = self._heard, None
            progress.hear(heard)
            controller.run_changed(controller.queue_note)

    def shown(self) -> None:
        """See to what waited until the light was up."""
        if self._controller is not None:
            self._hear(self._controller)
            self._source.notice(self._controller.session.progress)

    def close(self) -> None:
        """Let the queue have what was done, and end."""
        self._source.close()
