"""List the benchmarks, or run one or all: ``python -m benchmarks [NAME | all] [options]``."""

from __future__ import annotations

import ast
import runpy
import subprocess
import sys
from pathlib import Path


def subjects() -> dict[str, str]:
    """Return each benchmark's name with the first line of its docstring."""
    found = {}
    for path in sorted(Path(__file__).parent.glob("[!_]*.py")):
        words = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
        if "__main__" in path.read_text(encoding="utf-8"):
            found[path.stem] = words.partition("\n")[0]
    return found


def main() -> int:
    known = subjects()
    name = sys.argv[1] if len(sys.argv) > 1 else ""
    if name in known:
        sys.argv = [f"benchmarks.{name}", *sys.argv[2:]]
        runpy.run_module(f"benchmarks.{name}", run_name="__main__", alter_sys=True)
        return 0
    if name == "all":
        worst = 0
        for each in known:
            print(f"== {each}: {known[each]}", flush=True)
            command = [sys.executable, "-m", f"benchmarks.{each}", *sys.argv[2:]]
            worst = max(worst, subprocess.run(command, check=False).returncode)
        return worst
    for each, words in known.items():
        print(f"{each:16} {words}")
    print("\nRun one with: python -m benchmarks NAME   or all with: python -m benchmarks all")
    return 0 if not name else 2


if __name__ == "__main__":
    sys.exit(main())
