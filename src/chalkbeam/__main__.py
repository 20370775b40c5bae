"""The program's start: Ctrl-C ends it quietly, even while it is still being read from disk."""

from __future__ import annotations

import sys


def main() -> None:
    """Run the command line; end with 130, as shells have it, where the operator stops it."""
    try:
        from chalkbeam.cli.app import main as run

        run()
    except KeyboardInterrupt:
        sys.exit(130)


if __name__ == "__main__":
    main()
