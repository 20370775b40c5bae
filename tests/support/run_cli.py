"""The program run as typed, in this process."""

import sys

from chalkbeam.cli import app


def run_program(capsys, monkeypatch, *arguments):
    """Run the program; return its exit code, what it printed and what it complained of."""
    monkeypatch.setattr(sys, "argv", ["chalkbeam", *map(str, arguments)])
    code = 0
    try:
        app.main()
    except SystemExit as end:
        code = end.code or 0
    out, err = capsys.readouterr()
    assert "Traceback" not in out + err
    return code, out, err
