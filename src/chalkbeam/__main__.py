"""The program's start: Ctrl-C ends it quietly, even while it is still being read from disk."""

from __future__ import annotations

import os
import sys


def main() -> None:
    """Run the command line; end with 130, as shells have it, where the operator stops it."""
    # Small systems of equations are solved no sooner by several threads, which wait for each
    # other at full load: one photo to a rig took up to seven times the processor's time.
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    try:
        from chalkbeam.cli.app import main as run

        run()
    except KeyboardInterrupt:
        sys.exit(130)


if __name__ == "__main__":
    main()
