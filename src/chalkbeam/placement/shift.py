"""A nudge: how far the light was moved by hand."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Shift:
    """A correction in the platen frame: mm along x and y, and a turn in radians."""

    x: float = 0.0
    y: float = 0.0
    angle: float = 0.0

    def __add__(self, other: Shift) -> Shift:
        return Shift(self.x + other.x, self.y + other.y, self.angle + other.angle)

    @property
    def length(self) -> float:
        """How far, mm."""
        return math.hypot(self.x, self.y)

    def data(self) -> dict[str, Any]:
        """Return the shift as an event carries it."""
        return {"x": self.x, "y": self.y, "angle": self.angle}

    @classmethod
    def of(cls, data: Mapping[str, Any]) -> Shift:
        """Return the shift that an event's data holds."""
        return cls(float(data["x"]), float(data["y"]), float(data.get("angle", 0.0)))
