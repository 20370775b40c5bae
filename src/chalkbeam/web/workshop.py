"""What the page is about: where this shop keeps its things, and the press that runs, if any."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import platformdirs


@dataclass(frozen=True)
class Workshop:
    """Where a shop keeps its things.

    Attributes
    ----------
    data : Path
        The data folder: rigs, charts, locations, paired devices. It need not exist yet.
    record : Path
        File of what was pressed.
    orders : Path
        Folder of the orders that are kept for the page.
    """

    data: Path
    record: Path
    orders: Path

    @classmethod
    def of_user(cls, record: Path | None = None) -> Workshop:
        """Return the shop whose data folder is the user's own."""
        from chalkbeam.record.store import record_file  # slow to import; not always needed

        data = platformdirs.user_data_path("chalkbeam", appauthor=False)
        return cls(data, record or record_file(), data / "orders")
