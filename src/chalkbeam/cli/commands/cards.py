"""`chalkbeam cards` and `chalkbeam pattern`: what to print and what to project to calibrate."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.refusal import Refusal
from chalkbeam.basics.units import parse_platen, parse_resolution
from chalkbeam.cli.options.paper import Paper, PaperOption

if TYPE_CHECKING:
    from overlay.draw.frame import Frame


PlatenOption = Annotated[
    str, typer.Option(help="Width x depth as you stand at the press, such as 406mmx508mm.")
]


def cards(
    platen: PlatenOption,
    out: Annotated[Path, typer.Option(help="PDF to write.")] = Path("cards.pdf"),
    paper: PaperOption = Paper.LETTER,
    png: Annotated[
        Path | None, typer.Option(help="Folder for a picture of each card and layout.json.")
    ] = None,
    dpi: Annotated[float, typer.Option(help="Resolution of those pictures.")] = 300.0,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print what was written as JSON.")
    ] = False,
) -> None:
    """Write the cards to print, cut out and lay on the platen's corners."""
    from calibration.files import check_can_write, write_whole
    from calibration.geometry import PlatenFace
    from calibration.targets import card_pdf
    from calibration.targets.cards import layout

    if not 50 <= dpi <= 2400:
        raise Refusal(f"{dpi:g} dpi is no resolution for cards: give 50 to 2400, such as 300.")
    check_can_write(out, ".pdf")
    face = PlatenFace(*parse_platen(platen))
    laid = layout(face)
    files = {out: card_pdf.pdf(laid, face, paper.value)}
    record = card_pdf.layout_record(laid, face)
    if png is not None:
        files |= {png / card_pdf.png_name(card): card_pdf.png(card, dpi) for card in laid}
        files[png / "layout.json"] = (json.dumps(record, indent=2) + "\n").encode()
    for path, content in files.items():
        write_whole(path, content)
    if as_json:
        print(json.dumps({**record, "written": [str(path) for path in files]}))
        return
    print(f"Wrote {out}: four cards of {laid[0].size:g} mm for {paper.value.capitalize()} paper.")
    print("Print at 100 % (“actual size”) and measure the bar on every sheet: 100 mm.")
    if png is not None:
        print(f"Wrote a picture of each card and layout.json to {png}.")


def pattern(
    size: Annotated[str, typer.Option(help="The projector's own resolution, such as 1920x1080.")],
    out: Annotated[Path | None, typer.Option(help="PNG to write, such as pattern.png.")] = None,
    display: Annotated[
        int | None,
        typer.Option(help="Show it on this display until Escape is pressed: chalkbeam displays."),
    ] = None,
    platen: Annotated[
        str | None,
        typer.Option(help="Width x depth; a small platen gets a finer pattern."),
    ] = None,
) -> None:
    """Show the picture to project while the calibration photos are taken, or write it."""
    import cv2

    from calibration.files import check_can_write, write_whole
    from calibration.geometry import PlatenFace
    from calibration.targets.pattern import Pattern, wants_fine

    shown = Pattern(parse_resolution(size))
    fine = platen is not None and wants_fine(PlatenFace(*parse_platen(platen)))
    frame = shown.draw(fine)
    if display is not None:
        if out is not None:
            raise Refusal("Show the pattern or write it: give --display or --out, not both.")
        _show(frame, display)
        return
    out = out or Path("pattern.png")
    check_can_write(out, ".png")
    done, coded = cv2.imencode(".png", frame)
    if not done:
        raise Refusal(f"The pattern could not be written as a picture: give {out} another name.")
    write_whole(out, coded.tobytes())
    print(
        f"Wrote {out}. Show it full screen at {shown.size[0]} x {shown.size[1]} pixels, without "
        "scaling: in a window or scaled it makes a rig that is off, and no photo tells. "
        "(--display shows it rightly.)"
    )
    print(_BEAM)


_BEAM = "Do not look into the projector's beam."


def _show(frame: Frame, display: int) -> None:
    """Fill a display with the pattern until Escape is pressed."""
    from overlay.window.displays import Screen
    from overlay.window.inputs import Closed, DisplayLost, Input, Key
    from overlay.window.run import choose_display, run

    size = (int(frame.shape[1]), int(frame.shape[0]))
    number = choose_display(size, display)
    print(f"The pattern is on display {number}; Escape ends. {_BEAM}", flush=True)

    def update(over: bool, happened: Input) -> bool:
        if isinstance(happened, DisplayLost):
            raise Refusal(happened.sentence)
        escaped = isinstance(happened, Key) and happened.name == "escape"
        return over or escaped or isinstance(happened, Closed)

    run(
        False,
        Screen(size, number, title="Chalkbeam pattern"),
        update=update,
        view=lambda _: frame,
        done=lambda over: over,
    )


def register(app: typer.Typer) -> None:
    """Add the commands to the program."""
    app.command()(cards)
    app.command()(pattern)
