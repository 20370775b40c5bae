"""The queue on both engines; PostgreSQL where Debian's package is installed."""

import uuid

import pytest

from chalkbeam.presses.address import read_address
from tests.support.postgres import MISSING, postgres, programs


@pytest.fixture(scope="session")
def server():
    """Give a server of the tests' own."""
    if programs() is None:
        pytest.skip(MISSING)
    with postgres(durable=False) as started:
        yield started


@pytest.fixture(
    params=["sqlite", pytest.param("postgresql", marks=(pytest.mark.proof, pytest.mark.slow))]
)
def address(request, tmp_path):
    """Give the address of an empty queue."""
    if request.param == "sqlite":
        return read_address(f"sqlite:///{tmp_path / 'queue.db'}")
    return request.getfixturevalue("on_server")


@pytest.fixture
def on_server(server):
    """Give the address of an empty queue on a server."""
    name = f"queue_{uuid.uuid4().hex}"
    server.psql(f"CREATE DATABASE {name}")
    return read_address(server.address.replace("/postgres", f"/{name}"))
