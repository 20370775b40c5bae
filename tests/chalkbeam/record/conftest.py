"""A record of a test's own."""

import pytest

from chalkbeam.record.store import Store


@pytest.fixture
def store(tmp_path):
    with Store(tmp_path / "record.db") as opened:
        yield opened
