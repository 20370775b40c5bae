"""A station with an operator at its keys, and a clock that moves on at every key."""

from chalkbeam.station.display import display_of
from chalkbeam.station.scene import lit
from overlay.marks import Text
from overlay.window.inputs import Key, Tick


class Press:
    """Keys go in; light, words and the operator's display come out."""

    def __init__(self, station):
        self.station, self.at = station, 100.0

    @property
    def session(self):
        return self.station.session

    @property
    def progress(self):
        return self.station.session.progress

    def keys(self, *names, wait=20.0, shift=False):
        for name in names:
            self.at += wait
            text = name if len(name) == 1 else ""
            self.station.take(Key(name, shift=shift, at=self.at, text=text))
            self.at += 1
            self.station.take(Tick(self.at))
        return self

    def frame(self, at=None):
        return self.station.output.frame(self.station.scene(at))

    def idle(self):
        """Let all be worked out that is worked out while no key comes."""
        for _ in self.station.foresee():
            pass

    def marks(self):
        return lit(self.station.scene())

    def words(self, role=None):
        return " ".join(
            mark.text.replace("\n", " ")
            for mark in self.marks() or ()
            if isinstance(mark, Text) and role in (None, mark.role)
        )

    def display(self):
        return display_of(self.station.view(), self.station.state)
