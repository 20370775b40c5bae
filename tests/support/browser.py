"""A real browser for tests of the page: Debian's chromium, driven by playwright."""

from __future__ import annotations

import importlib.util
import re
import shutil
from pathlib import Path

AXE = Path(__file__).parent / "axe" / "axe.min.js"
"""Deque's checker of accessibility, 4.14.1, MPL-2.0, licence beside it: rules of WCAG 2.2."""

FLAGS = ("--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking")

SIZES = {"tablet": (1024, 768), "tablet-upright": (768, 1024), "phone": (390, 844),
         "phone-lying": (844, 390)}  # fmt: skip


def chromium() -> str | None:
    """Return where chromium is; None where there is none."""
    return shutil.which("chromium") or shutil.which("chromium-browser")


def lacking() -> str:
    """Return why there is no browser; empty if there is one."""
    if importlib.util.find_spec("playwright") is None:
        return "playwright is not installed"
    return "" if chromium() else "there is no chromium (Debian: apt-get install chromium)"


def serious(page) -> list[str]:
    """Return what axe finds serious or critical on a page, a line each.

    Its script is brought by the driver, which the page's own policy does not bind.
    """
    page.evaluate(AXE.read_text("utf-8"))
    found = page.evaluate("() => axe.run(document, {resultTypes: ['violations']})")
    return [
        f"{each['id']}: {each['help']}: {node['html'][:120]}"
        for each in found["violations"]
        if each["impact"] in ("serious", "critical")
        for node in each["nodes"]
    ]


def names_on(page, role: str) -> list[str]:
    """Return what a reader of the screen is told of everything of one role that is shown."""
    snapshot = page.locator("body").aria_snapshot()
    return re.findall(rf'^\s*- {role} "([^"]*)"', snapshot, re.MULTILINE)
