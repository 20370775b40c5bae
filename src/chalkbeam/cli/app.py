"""The program's entry: gathers the command groups and turns refusals into exit codes.

Exit 0: done. 1: the answer is "no" (a check failed). 2: bad input.
"""

from __future__ import annotations

import os
import sys

import typer

from calibration.refusal import Refusal
from chalkbeam.cli import (
    calibrate,
    cards,
    crosses,
    demo,
    fabrics,
    garment,
    location,
    order,
    place,
    project,
    proof,
    report,
    rig,
    run,
)

app = typer.Typer(
    name="chalkbeam",
    help="Tailor's chalk made of light: where a transfer belongs, at true scale, on the platen.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


@app.callback()
def _chalkbeam() -> None:
    """Keep the program a group of commands, however few are registered."""


for group in (
    demo,
    cards,
    calibrate,
    crosses,
    garment,
    location,
    place,
    proof,
    project,
    order,
    run,
    report,
    rig,
    fabrics,
):
    group.register(app)


def main() -> None:
    """Run the command line; print a refusal as one sentence and exit with code 2."""
    # The solver's matrices are small: more threads in NumPy only spin, at four times the
    # processor time (benchmarks/photos_to_rig.py). Read when NumPy is first imported.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        app()
    except Refusal as refusal:
        print(f"chalkbeam: {refusal}", file=sys.stderr)
        sys.exit(2)
    except OSError as error:  # of a file that nobody foresaw: a name too long, a disk gone
        if error.filename is None:
            raise
        reason = error.strerror or "it cannot be used"
        print(f"chalkbeam: {error.filename}: {reason}; check the name and the disk.",
              file=sys.stderr)  # fmt: skip
        sys.exit(2)
