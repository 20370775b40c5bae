"""The sizes of paper that documents are printed on."""

from __future__ import annotations

from reportlab.lib.pagesizes import A4, letter

PAPERS: dict[str, tuple[float, float]] = {"letter": letter, "a4": A4}
"""Width and height, pt: ANSI Letter, ISO 216 A4."""
