"""The shop's files and the queue's, brought to one state."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from chalkbeam.presses.address import Address
    from chalkbeam.presses.sharing import Shared


def exchanged(address: Address, press: str = "", prefer: str = "") -> Shared:
    """Exchange the shop's files with a queue; the press that is the default one stays so.

    Parameters
    ----------
    address : Address
    press : str, optional
        This press's name; as its settings say without.
    prefer : str, optional
        As of `chalkbeam.presses.sharing.share`.

    Raises
    ------
    Refusal
        If the queue does not answer, or a file cannot be read or written.
    """
    from calibration.rig import library
    from chalkbeam.presses.engine import Queue
    from chalkbeam.presses.settings import own_name
    from chalkbeam.presses.sharing import share
    from chalkbeam.record.store import utc_now

    usual = library.default()
    with Queue(address) as queue:
        done = share(queue, own_name(press), utc_now(), prefer=prefer)
    if usual is not None and library.default() is None:  # it was the only one
        library.set_default(usual)
    return done


def keep_up(address: Address, press: str = "") -> None:
    """Exchange files before a run and say what came; a queue that is away is left in peace."""
    from chalkbeam.presses.faults import Unreachable

    try:
        done = exchanged(address, press)
    except Unreachable:
        return
    if done.fetched:
        print(f"Brought up to date by the queue: {', '.join(done.fetched)}.", file=sys.stderr)
    if done.at_odds:
        print(
            f"Changed both here and in the queue, and left as it is: {', '.join(done.at_odds)}; "
            "chalkbeam exchange --prefer says which is meant.",
            file=sys.stderr,
        )
