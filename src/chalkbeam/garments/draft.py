"""What the drafts share: measures by name, landmarks from sums of measures."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import shapely

from calibration.geometry import Points
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

    def check_smaller(self, *pairs: tuple[str, str]) -> None:
        """Refuse measures of which the first of a pair is not smaller than the second.

        Raises
        ------
        Refusal
            Naming the two, and where a graded one comes from.
        """
        for smaller, larger in pairs:
            if self[smaller] >= self[larger]:
                raise Refusal(
                    f"{self.label}: the {self._told(smaller)} is not smaller than the "
                    f"{self._told(larger)}; measure both again."
                )

    def _told(self, name: str) -> str:
        measure = self.values[name]
        how = (measure.derived or "").partition(":")[0].partition(", ")[2]
        return f"{name.replace('_', ' ')} ({measure.value:.0f} mm{', ' + how if how else ''})"

    def check_outline(self, face: str, outline: Points) -> None:
        """Refuse measures that make an outline, shape (N, 2), cross itself.

        Raises
        ------
        Refusal
            Naming the face.
        """
        if not shapely.Polygon(outline).is_valid:
            raise Refusal(
                f"{self.label}: with these measures the edges of the {face.replace('_', ' ')} "
                "cross; measure the piece again."
            )

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
