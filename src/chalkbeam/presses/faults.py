"""What an operator can do where the queue of the shop cannot be reached or used."""

from __future__ import annotations

import sqlalchemy as sa

from calibration.refusal import Refusal
from chalkbeam.presses.address import Address


class Unreachable(Refusal):
    """The queue does not answer now; it may later, and the press goes on meanwhile."""


_PASSING = {"57P01", "57P02", "57P03", "53300", "40001", "40P01", "55P03", "57014", "25P03"}
"""What the server says of itself that passes: shut down, starting, full, in each other's way.
Appendix A of PostgreSQL's manual, “Error Codes”."""


def queue_fault(address: Address, error: Exception) -> Refusal:
    """Return what to do about an error of the driver; its own words hold no password."""
    cause = getattr(error, "orig", None) or error
    state = str(getattr(cause, "sqlstate", None) or "")
    said = " ".join(str(cause).split())[:300]
    low = said.lower()
    where = str(address)
    if state in ("28P01", "28000") or "password" in low or "no pg_hba.conf" in low:
        return Refusal(
            f"The name or the password for {where} is not accepted, or only over TLS: check the "
            "address, and the "
            "password in the environment (PGPASSWORD) or in your file of passwords (.pgpass), "
            "which only you may read."
        )
    if "invalid connection option" in low or "invalid sslmode" in low:
        return Refusal(
            f"The address of {where} holds what no such connection knows ({_short(said)}): "
            "correct it."
        )
    if "certificate" in low:
        return Refusal(
            f"{capital(address)} shows a certificate that is not the one to trust "
            f"({_short(said)}): check the server's name in the address, and the certificate's file."
        )
    if state == "3D000" or ("database" in low and "does not exist" in low):
        return Refusal(f"There is no such database ({where}): make it on the server first.")
    if "could not translate" in low or "name or service" in low or "resolve host" in low:
        return Unreachable(
            f"No machine of that name is found for {where}: check the address and the network."
        )
    if state == "42501" or "permission denied" in low or "readonly" in low:
        return Refusal(
            f"This name may not use {where}: give it the rights on the server, or to the file."
        )
    if state in ("53100", "53200") or "no space" in low or "disk is full" in low:
        return Unreachable(
            f"The disk of {where} is full, so it takes in nothing more: free some space there; "
            "what was pressed is kept at this press meanwhile."
        )
    if state == "53300" or "too many" in low or "remaining connection slots" in low:
        return Unreachable(
            f"Too many programs use {where} at once: close some, or let the server take more."
        )
    if "malformed" in low or "not a database" in low:
        return Refusal(f"{capital(address)} is damaged: put a copy of it back.")
    if "unable to open" in low:
        return Refusal(f"{capital(address)} cannot be opened: check its folder and its rights.")
    if "locked" in low:
        return Unreachable(f"Another program holds {where}: try again in a moment.")
    if (
        state in _PASSING
        or state.startswith("08")
        or isinstance(error, sa.exc.OperationalError | sa.exc.InterfaceError | OSError)
    ):
        return Unreachable(
            f"{capital(address)} does not answer ({_short(said)}): check the network and the "
            "server; a press that has pieces in hand goes on with them."
        )
    return Refusal(f"{capital(address)} cannot be used ({_short(said)}): ask who looks after it.")


def capital(address: Address) -> str:
    """Return an address as a sentence begins with it."""
    said = str(address)
    return said[:1].upper() + said[1:]


def _short(said: str) -> str:
    """Return the driver's words without its repetitions for every address that it tried."""
    said = said.split(" Multiple connection attempts")[0].removeprefix("connection failed: ")
    return said[:160].rstrip(". ")
