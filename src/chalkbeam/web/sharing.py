"""The page opened to phones and tablets of the shop's network, and closed to this machine again."""

from __future__ import annotations

import anyio

from chalkbeam.web.doors import Visit


async def share(visit: Visit, shared: bool) -> None:
    """Open the page to the shop's network, or close it, and keep that for the next time.

    Raises
    ------
    Refusal
        If it is in no network, its port is not free there, or that cannot be written down.
    """
    if visit.app.settings.shared != shared:
        await visit.app.share(shared)
    await anyio.to_thread.run_sync(visit.app.devices.share, shared)
