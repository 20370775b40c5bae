"""Options that say how a rig is made."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.refusal import Refusal
from chalkbeam.basics.units import parse_length

if TYPE_CHECKING:
    from collections.abc import Iterable

    from calibration.rig.file import Rig

RigOption = Annotated[
    str | None, typer.Option("--rig", help="Rig file or name; without it the default rig.")
]
PairsOption = Annotated[
    bool,
    typer.Option(
        "--pairs",
        help="Photos come in twos from one place, the camera on a stand: first the cards under "
        "plain light, then the same with the pattern.",
    ),
]
ReportOption = Annotated[
    Path | None, typer.Option(help="Picture to write: what was found and how sure it is.")
]
FaceOption = Annotated[
    str,
    typer.Option("--platen", help="Width x depth as you stand at the press, such as 406mmx508mm."),
]
ResolutionOption = Annotated[
    str, typer.Option("--size", help="The projector's own resolution, such as 1920x1080.")
]
NewRigOption = Annotated[
    Path | None,
    typer.Option("--out", help="Rig file to write; without it the rig is stored by name."),
]
OutOption = Annotated[
    Path | None, typer.Option(help="Rig file to write; without it the rig is written in place.")
]
NameOption = Annotated[str | None, typer.Option("--name", help="Name of the rig, such as Press 1.")]
LensOption = Annotated[
    str | None,
    typer.Option(
        "--lens",
        help="Where the projector's lens is, measured from the platen's middle: right, back, "
        "up, such as 0,620,1010mm.",
    ),
]
ThrowOption = Annotated[
    float | None,
    typer.Option("--throw", help="Throw ratio, from the projector's data sheet: 1.4."),
]
ToleranceOption = Annotated[
    str,
    typer.Option(
        "--tolerance", help="How far off light may land at the worst point of the platen."
    ),
]
UpToOption = Annotated[str, typer.Option("--up-to", help="Height up to which that must hold.")]

PlatenSizeOption = Annotated[
    str | None,
    typer.Option("--platen", help="Its width x depth; without it as on file under its name."),
]
PlatenHeightOption = Annotated[
    str | None,
    typer.Option(
        "--height",
        help="With crosses: how high its face is above the calibrated platen's, by a ruler; "
        "-12mm is below.",
    ),
]
OnPlatenOption = Annotated[
    str | None,
    typer.Option("--platen", help="Which of the rig's platens; without it the calibrated one."),
]


def open_platens(names: Iterable[str | None]) -> list[Rig]:
    """Return a rig for every platen of the rigs given as paths or names, None for the default."""
    from calibration.rig import library
    from calibration.rig.platens import on_post

    return [each for name in names for each in on_post(library.open_rig(name))]


def open_platen(rig: str | None, platen: str | None) -> Rig:
    """Return a rig for one of its platens; the calibrated one without."""
    from calibration.rig import library
    from calibration.rig.platens import on_platen

    return on_platen(library.open_rig(rig), platen)


def rig_name(name: str | None, out: Path | None) -> str:
    """Return what a new rig is called."""
    return name or (out.stem if out else "press")


def check_place(*paths: Path | None) -> None:
    """Refuse an output place that cannot be written to before any work is done."""
    from calibration.files import check_can_write, resolved

    for path in paths:
        if path is not None and not resolved(path).parent.is_dir():
            raise Refusal(f"There is no folder {path.parent}: make it, or write elsewhere.")
        if path is not None:
            check_can_write(path)


def read_height(text: str) -> float:
    """Return a height above the bare platen, mm, as typed."""
    value = parse_length(text)
    if not 0 <= value <= 100:
        raise Refusal(f"{text} is no height above the platen: give 0 mm to 100 mm.")
    return value


def read_platen_height(text: str | None) -> float:
    """Return how high a platen's face is above another's, mm, as typed; negative below it."""
    if text is None:
        raise Refusal(
            "Crosses do not tell a height: measure with a ruler how much higher this platen's face "
            "is than the calibrated one's, and say it with --height 12mm, or -12mm for lower."
        )
    value = parse_length(text.strip().lstrip("-")) * (-1 if text.strip().startswith("-") else 1)
    if not -150 <= value <= 150:
        raise Refusal(f"A platen {text} higher than another is on no post: check the height.")
    return value


def read_positive(text: str, option: str) -> float:
    """Return a small length as typed, mm; refuse none and large ones."""
    value = parse_length(text)
    if not 0 < value <= 100:
        raise Refusal(f"{option} {text} is not possible: give a small length, such as 1mm.")
    return value


def read_throw(value: float) -> float:
    """Return a throw ratio; refuse impossible ones."""
    if not 0.2 <= value <= 5:
        raise Refusal(f"{value:g} is no throw ratio: give distance over picture width, 0.2 to 5.")
    return value


def read_lens(text: str) -> tuple[float, float, float]:
    """Return the place of a lens as typed: right, back and up, mm."""
    parts = [part.strip() for part in re.split(r"[;,]", text)]
    if len(parts) != 3:
        raise Refusal(
            f"“{text}” is no place of a lens: give right, back and up, such as 0,620,1010mm."
        )
    unit = re.search(r"[a-z\"”]+\.?$", parts[2])
    x, y, z = (
        parse_length(part if unit is None or re.search(r"[a-z\"”]$", part) else part + unit[0])
        for part in parts
    )
    if not 50 <= z <= 20_000:
        raise Refusal(f"A lens {z:g} mm above the platen cannot light it: measure up from it.")
    return x, y, z
