"""Pictures of a burst that is still being taken: who asks for one waits until it is there.

So a burst is read while it runs: lines are looked for while their code comes, and where a garment
lies while the flashes come that tell its colour.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from threading import Condition

import numpy as np
from numpy.typing import NDArray

from calibration.refusal import Refusal

U8 = NDArray[np.uint8]

PATIENCE = 20.0
"""No picture is waited for longer, s: a whole burst takes about a second."""


class ComingPictures(Mapping[str, U8]):
    """Pictures by name, of which some may still come.

    Parameters
    ----------
    names : sequence of str
        Of all that are to come.
    """

    def __init__(self, names: Sequence[str]) -> None:
        self._names = tuple(names)
        self._there: dict[str, U8] = {}
        self._stopped = False
        self._changed = Condition()

    def put(self, name: str, picture: U8) -> None:
        """Hand a picture to whoever waits for it."""
        with self._changed:
            self._there[name] = picture
            self._changed.notify_all()

    def stop(self) -> None:
        """Let nobody wait any longer for what will not come."""
        with self._changed:
            self._stopped = True
            self._changed.notify_all()

    def lacks(self, *names: str) -> bool:
        """Tell whether one of these, or of all, has not come yet."""
        return not all(name in self._there for name in names or self._names)

    def __getitem__(self, name: str) -> U8:
        """Return a picture once it is there.

        Raises
        ------
        KeyError
            If none of that name is to come.
        Refusal
            If the burst was stopped before it came.
        """
        if name not in self._names:
            raise KeyError(name)
        with self._changed:
            self._changed.wait_for(lambda: name in self._there or self._stopped, PATIENCE)
            if name not in self._there:
                raise Refusal("The camera's pictures were cut short: they are taken again.")
            return self._there[name]

    def __contains__(self, name: object) -> bool:
        """Tell whether a picture is there or is to come."""
        return name in self._names

    def __iter__(self) -> Iterator[str]:
        """Go through the names of all."""
        return iter(self._names)

    def __len__(self) -> int:
        """Return how many there are once all have come."""
        return len(self._names)
