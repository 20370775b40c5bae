"""How the program starts, and how it ends when it is stopped while it does."""

import subprocess
import sys

import pytest

from chalkbeam import __main__ as start
from chalkbeam.cli import app


def test_the_module_is_the_program():
    done = subprocess.run(
        [sys.executable, "-m", "chalkbeam", "fabrics", "--help"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert "Usage:" in done.stdout


def test_ctrl_c_before_a_command_has_begun_ends_quietly(monkeypatch):
    def stopped(**_):
        raise KeyboardInterrupt

    monkeypatch.setattr(app, "app", stopped)
    with pytest.raises(SystemExit) as ended:
        start.main()
    assert ended.value.code == 130  # 128 + SIGINT, as POSIX shells report it


STOPPED_WHILE_READ = """
import sys
class Stopped:
    def find_spec(self, name, *_):
        if name == "typer":
            raise KeyboardInterrupt
sys.meta_path.insert(0, Stopped())
from chalkbeam.__main__ import main
main()
"""


def test_ctrl_c_while_the_program_is_read_from_disk_ends_quietly():
    done = subprocess.run(
        [sys.executable, "-c", STOPPED_WHILE_READ], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout, done.stderr) == (130, "", "")


HEAVY = ("numpy", "scipy", "cv2", "pygame", "PIL", "rich", "sqlalchemy", "shapely", "reportlab")


def test_nothing_heavy_is_read_for_help():
    """Start-up time is measured in benchmarks; what makes it is told here."""
    code = (
        "import sys\n"
        "from chalkbeam.__main__ import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, "--help"], capture_output=True, text=True, check=True
    )
    assert "calibrate" in done.stdout
    assert done.stderr.strip() == "[]"
