"""What the drafts share: measures by name, landmarks from sums of measures."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from calibration.refusal import Refusal
from chalkbeam.garments.model import Landmark, Measure


@dataclass(frozen=True)
class Measures:
    """The measures of one garment, by name; refuses with a sentence where one is missing."""

    label: str
    values: Mapping[str, Measure]

    def __getitem__(self, name: str) -> float:
        """Return a measure's length, mm."""
        if name not in self.values:
            raise Refusal(
                f"{self.label} has no {name.replace('_', ' ')}, and no rule grades it: "
                "give it in the chart or measure the piece."
            )
        return self.values[name].value

    def at(self, /, **weights: float) -> Landmark:
        """Return the landmark at the weighted sum of measures.

        Its tolerance is the root sum of squares of theirs (independent cuts); it is
        derived if any of them is.
        """
        value = sum(weight * self[name] for name, weight in weights.items())
        parts = [(self.values[name], weight) for name, weight in weights.items()]
        tolerance = math.sqrt(sum((weight * part.tolerance) ** 2 for part, weight in parts))
        reasons = [part.derived for part, weight in parts if part.derived and weight]
        return Landmark(value, tolerance, "; ".join(reasons) or None)


ZERO = Landmark(0.0, 0.0)
"""The line the frame is counted from."""
