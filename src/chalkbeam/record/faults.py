"""What an operator can do where the record cannot be read or written."""

from __future__ import annotations

from pathlib import Path

from calibration.refusal import Refusal, Remedy, RemedyKind


def is_damage(said: str) -> bool:
    """Whether SQLite's words say that a file is damaged."""
    low = said.lower()
    return "malformed" in low or "not a database" in low or "corrupt" in low


def fault(path: Path, said: str) -> Refusal:
    """Return what an operator can do about a fault of the disk or of SQLite."""
    said = " ".join(said.split())
    low = said.lower()
    if "full" in low or "no space" in low or "too large" in low:
        return Refusal(
            f"The disk is full, so the record {path} can take in nothing more: free some space, "
            "then do the last step again."
        )
    if "locked" in low or "busy" in low:
        return Refusal(
            f"Another program holds the record {path}, so it can take in nothing: close that "
            "program, then do the last step again."
        )
    if is_damage(said):
        return Refusal(
            f"The record {path} is damaged ({said}); it was left as it is: copy its folder to a "
            "safe place, then ",
            Remedy(RemedyKind.RESCUE, "save what can be read", str(path)),
            ".",
        )
    if any(word in low for word in ("readonly", "read-only", "permission", "unable to open")):
        return Refusal(
            f"The record {path} may not be written: change its permissions or choose another."
        )
    return Refusal(
        f"The record {path} cannot be used ({said}): check the disk, or choose another file."
    )
