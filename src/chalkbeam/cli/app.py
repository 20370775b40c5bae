"""The program's entry: gathers the command groups and turns refusals into exit codes.

Exit 0: done. 1: the answer is "no" (a check failed). 2: bad input.
"""

from __future__ import annotations

import io
import os
import sys
from typing import Any

import typer
from typer.exceptions import TyperException

from calibration.refusal import Refusal
from chalkbeam.cli.advice import told
from chalkbeam.cli.commands import (
    aim,
    calibrate,
    cards,
    crosses,
    demo,
    exchange,
    eye,
    fabrics,
    fonts,
    frames,
    garment,
    garment_shelf,
    location,
    orders,
    page,
    place,
    project,
    proof,
    report,
    rig,
    run,
    scanner,
    sheet,
    sheet_forms,
    sheet_papers,
    ticks,
    transfers,
)
from chalkbeam.cli.parsing import RAISED, WithRaised
from chalkbeam.cli.usage import usage_words

app = typer.Typer(
    name="chalkbeam",
    help="Tailor's chalk made of light: where a transfer belongs, at true scale, on the platen.",
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


@app.callback(invoke_without_command=True)
def _chalkbeam(context: typer.Context) -> None:
    """Alone it serves the shop's page."""
    context.default_map = _shop_defaults(context)
    if context.invoked_subcommand is None:
        page.serve_page()


for group in (
    demo,
    cards,
    calibrate,
    aim,
    crosses,
    garment_shelf,
    garment,
    location,
    orders,
    page,
    place,
    proof,
    project,
    sheet,
    sheet_forms,
    sheet_papers,
    transfers,
    run,
    page,
    report,
    exchange,
    rig,
    fabrics,
    fonts,
    eye,
    ticks,
    frames,
    scanner,
):
    group.register(app)


def _shop_defaults(context: typer.Context) -> dict[str, Any] | None:
    """Return what the shop's settings say of options; most shops say nothing: nothing is loaded."""
    from chalkbeam.presses.places import settings_file

    if not settings_file().is_file():
        return None
    from chalkbeam.cli.shop_defaults import defaults_of
    from chalkbeam.presses.settings import shop_settings

    return defaults_of(context.command, shop_settings())


def main() -> None:
    """Run the command line; print a refusal as one sentence and exit with code 2."""
    # The solver's matrices are small: more threads in NumPy only spin, at four times the
    # processor time (benchmarks/photos_to_rig.py). Read when NumPy is first imported.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    _print_anything()
    try:
        _check_words(sys.argv[1:])
        code = app(prog_name="chalkbeam", standalone_mode=False)
        if isinstance(code, int):
            sys.exit(code)
    except TyperException as error:
        print(usage_words(error), file=sys.stderr)
        sys.exit(2)
    except Refusal as refusal:
        print(f"chalkbeam: {told(refusal.said, options_of(_command()))}", file=sys.stderr)
        sys.exit(2)
    except OSError as error:  # a name too long, a disk full under what is printed
        if error.errno is None:
            raise
        what = f"{error.filename}: " if error.filename else ""
        print(
            f"chalkbeam: {what}{error.strerror}; check the name and the disk.",
            file=sys.stderr,
        )
        sys.exit(2)


def _check_words(words: list[str]) -> None:
    """Refuse what is no text: a file's name in bytes that this system cannot read."""
    for word in words:
        if any("\ud800" <= letter <= "\udfff" for letter in word):
            plain = word.encode(errors="replace").decode()
            raise Refusal(
                f"“{plain}” is not written in UTF-8, and so can be neither shown nor kept: rename "
                "the file, or type the name anew."
            )


def _command() -> Any:
    """Return the command that was typed."""
    command: Any = typer.main.get_command(app)
    for word in sys.argv[1:]:
        command = getattr(command, "commands", {}).get(word, command)
    return command


def options_of(command: Any) -> set[str]:
    """Return the options that a command takes."""
    raised = {RAISED} if isinstance(command, WithRaised) else set()
    return raised.union(*(parameter.opts for parameter in command.params))


def _print_anything() -> None:
    """Let letters that the terminal cannot show come out as question marks."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
