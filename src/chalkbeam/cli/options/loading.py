"""Options that say how a garment lies on the platen; what is left out is worked out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from calibration.refusal import Refusal
from chalkbeam.cli.options.length import read_length

if TYPE_CHECKING:
    from chalkbeam.placement import Placement
    from chalkbeam.placement.loading import Collar, Loading

CollarOption = Annotated[
    str | None,
    typer.Option(
        help="Where the collar points: away, towards, left or right. Without it away; sleeves and "
        "legs go on by the cuff.",
    ),
]
OverhangOption = Annotated[
    str | None,
    typer.Option(help="How far the collar's seam hangs over the edge; worked out without."),
]
AsideOption = Annotated[
    str | None,
    typer.Option(help="How far the centre line lies right of the middle; worked out without."),
]
PadOption = Annotated[
    str | None,
    typer.Option(help="A raised pad, width x depth x height: 10x10x0.5in; its place is sought."),
]
PadPlaceOption = Annotated[
    str | None,
    typer.Option(help="Where its middle lies from the platen's: “2 in right, 1 in away”."),
]
OnTopOption = Annotated[bool, typer.Option("--on-top", help="Laid on the platen with both layers.")]


def read_collar(text: str | None) -> Collar | None:
    """Return where a collar points, as typed; None to leave it to the program."""
    from chalkbeam.placement.loading import COLLARS

    found = next((known for known in COLLARS if known == text), None)
    if text is not None and found is None:
        raise Refusal(f"A collar cannot point “{text}”: write {', '.join(COLLARS)}.")
    return found


def read_loading(
    placement: Placement,
    platen: str | None,
    pad: str | None,
    collar: str | None,
    overhang: str | None,
    aside: str | None,
    on_top: bool,
    pad_place: str | None = None,
) -> Loading | None:
    """Return how the garment lies on the platen that options describe; None without a platen."""
    from chalkbeam.placement.loading import load
    from chalkbeam.placement.platens import padded
    from chalkbeam.placement.platens import platen as find_platen

    if platen is None:
        given = (pad, pad_place, collar, overhang, aside)
        if on_top or any(option is not None for option in given):
            raise Refusal("Name the platen too, such as --platen 16x20in.")
        return None
    plate = padded(find_platen(platen), pad or "", pad_place or "")
    return load(
        placement, plate, collar=read_collar(collar), overhang=read_length(overhang),
        aside=read_length(aside), threaded=not on_top,
    )  # fmt: skip
