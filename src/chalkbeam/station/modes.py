"""What the station can be used for; the loop is the same."""

from __future__ import annotations

from dataclasses import dataclass

from chalkbeam.station.keys import Act


@dataclass(frozen=True)
class Mode:
    """What can be asked for, and what a press means.

    Attributes
    ----------
    acts : tuple of (Act, str)
        What can be asked for, in the words of the page of help.
    counted : bool
        Whether a press ends its imprint and the next one comes; else the same imprint begins
        again, on another garment.
    """

    acts: tuple[tuple[Act, str], ...]
    counted: bool

    def allows(self, act: Act) -> bool:
        """Whether something can be asked for."""
        return act in (Act.HELP, Act.LEAVE_NOW) or any(act is each for each, _ in self.acts)


ORDER = Mode(
    (
        (Act.ON, "next step"),
        (Act.BACK, "step before"),
        (Act.NUDGE, "move 1 mm (Shift: 0.1)"),
        (Act.TURN, "turn 0.5° (Shift: 0.1°)"),
        (Act.AS_PLANNED, "back to the plan"),
        (Act.GARMENT, "the collar is here"),
        (Act.KEEP, "keep it for this piece"),
        (Act.KEEP_FOR_BATCH, "keep it for the batch"),
        (Act.PRESET, "location (asks if new)"),
        (Act.SKIP, "skip"),
        (Act.SPOIL, "spoiled"),
        (Act.UNDO, "undo"),
        (Act.REDO, "redo"),
        (Act.JUMP, "go to a piece"),
        (Act.PAUSE, "pause"),
        (Act.DARK, "light off or on"),
        (Act.CHECK, "squares to measure"),
        (Act.LEAVE, "end (twice)"),
    ),
    counted=True,
)
"""A customer's order, worked through piece by piece."""

SINGLE = Mode(
    (
        (Act.ON, "next step"),
        (Act.BACK, "step before"),
        (Act.PRESET, "another location"),
        (Act.NUDGE, "move 1 mm (Shift: 0.1)"),
        (Act.TURN, "turn 0.5° (Shift: 0.1°)"),
        (Act.AS_PLANNED, "back to the plan"),
        (Act.DARK, "light off or on"),
        (Act.CHECK, "squares to measure"),
        (Act.HELP, "these keys"),
        (Act.LEAVE, "end (twice)"),
    ),
    counted=False,
)
"""Light for one artwork, on as many garments as the operator likes."""
