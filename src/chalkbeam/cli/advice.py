"""How the command line tells a remedy: in its words, and after them what to type."""

from __future__ import annotations

import re
from collections.abc import Iterable

from calibration.refusal import Phrase, Remedy, RemedyKind

TYPED: dict[RemedyKind, str] = {
    RemedyKind.ONE_MORE: "",
    RemedyKind.ON_SPACER: "--raised",
    RemedyKind.AGAIN: "",
    RemedyKind.SINCE_MOVED: "",
    RemedyKind.ALL_AGAIN: "",
    RemedyKind.SPACER_AGAIN: "",
    RemedyKind.CROSSES: "--count {}",
    RemedyKind.BAR: "--bar",
    RemedyKind.SPACER: "--raised",
    RemedyKind.LENS: "--lens",
    RemedyKind.THROW: "--throw",
    RemedyKind.UP_TO: "--up-to {:g}mm",
    RemedyKind.PART_LIT: "--part-lit",
    RemedyKind.NEW_RIG: "chalkbeam calibrate",
    RemedyKind.NEW_RIG_FILE: "chalkbeam calibrate --out {}",
    RemedyKind.RIG_FILE: "--out FILE",
    RemedyKind.RIG: "--rig",
    RemedyKind.DEFAULT_RIG: "chalkbeam rig default NAME",
    RemedyKind.DISPLAY: "--display",
    RemedyKind.SAME_MARKS: "--platen, --size, --inset",
    RemedyKind.SET_AGAIN: "--start-over",
    RemedyKind.WIDTH: "--width",
    RemedyKind.SHEET_WIDTH: "--sheet-width",
    RemedyKind.WHOLE: "--whole",
    RemedyKind.PAGE: "--page",
    RemedyKind.CLOTH_PARTS: "--white, --patch",
    RemedyKind.CHART: "chalkbeam garment import",
    RemedyKind.REPLACE: "--replace",
    RemedyKind.AS_RECORDED: "--as-recorded",
    RemedyKind.NEW_RUN: "--new-run",
    RemedyKind.TAKE_CHANGES: "--take-changes",
    RemedyKind.ONLY_SPOILED: "--only-spoiled",
    RemedyKind.RUNS: "chalkbeam report --list",
    RemedyKind.RESCUE: "chalkbeam sheet rescue {} --out NEW.db",
    RemedyKind.SAMPLES: "--samples",
}
"""What to type for each kind, its value in the braces; nothing where hands alone can do it."""


def told(said: Iterable[Phrase], options: set[str] | None = None) -> str:
    """Return a sentence with what to type for its remedies.

    Parameters
    ----------
    said : iterable of str or Remedy
    options : set of str, optional
        Those that the running command takes: no others are told. All are without.

    Examples
    --------
    >>> told(["Too high: ", Remedy(RemedyKind.UP_TO, "calibrate for thin cloth", 1.0), "."])
    'Too high: calibrate for thin cloth (--up-to 1mm).'
    """
    return "".join(typed(each, options) if isinstance(each, Remedy) else each for each in said)


def typed(remedy: Remedy, options: set[str] | None = None) -> str:
    """Return a remedy's words and what to type, as `told` does."""
    what = TYPED[remedy.kind].format(remedy.value)
    command = what.startswith("chalkbeam")
    taken = command or options is None or options.issuperset(re.findall(r"--[\w-]+", what))
    return f"{remedy.words} ({what})" if what and taken else remedy.words
