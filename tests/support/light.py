"""The light's end of a page without a window: a station that takes what is tapped, in a thread."""

from __future__ import annotations

import threading
import time
from multiprocessing import Pipe

from chalkbeam.station.display import display_of
from chalkbeam.station.taps import Tap, Taps
from chalkbeam.web.press.beside import PageBeside
from overlay.window.inputs import Input, Key, Told


class Light:
    """Works a station as the host does, for the page at the other end of its pipe."""

    def __init__(self, station):
        self.station, self.taps = station, Taps()
        self.here, there = Pipe()
        ways = [there]
        self.page = PageBeside(lambda: ways.pop() if ways else None)
        self.lock = threading.Lock()
        self.taken: list[tuple[str, str]] = []

    def work(self):
        self.page.listen(self.take)
        self.show()
        return self.here

    def take(self, happened: Input):
        with self.lock:
            match happened:
                case Told(Tap() as tap):
                    answer = self.taps.take(self.station, tap)
                    self.taken.append((tap.keys[0].name, answer.taken.value))
                    self.page.answer(answer)
                case _:
                    self.station.take(happened)
        self.show()

    def key(self, name):
        """A key at the light window itself."""
        self.take(Key(name, at=time.monotonic()))

    def display(self):
        """Return what is to be seen."""
        return display_of(self.station.view(), self.station.state)

    def show(self):
        self.page.show(self.display(), self.taps.number(self.station))

    def end(self):
        self.page.close()
