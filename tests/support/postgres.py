"""A PostgreSQL server of a test's or benchmark's own, in a folder that is thrown away.

Debian's package has the programs (``apt-get install postgresql``). The server refuses to run as
root: there it runs as Debian's user postgres, or nobody.
"""

from __future__ import annotations

import os
import pwd
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


def programs() -> Path | None:
    """Return the folder of the server's programs; None where it is not installed."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), reverse=True)
    if found:
        return found[0].parent
    on_path = shutil.which("initdb")
    return Path(on_path).resolve().parent if on_path else None


MISSING = "PostgreSQL is not installed here: apt-get install postgresql"


class PostgresServer:
    """A server, with its folder; `address` is what a press is given."""

    def __init__(self, folder: Path, *, durable: bool = True, connections: int = 100) -> None:
        bin_folder = programs()
        assert bin_folder is not None, MISSING
        self._bin, self._folder = bin_folder, folder
        self._user: str | None = None
        if os.geteuid() == 0:
            names = {each.pw_name for each in pwd.getpwall()}
            self._user = "postgres" if "postgres" in names else "nobody"
            shutil.chown(folder, self._user)
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.data = folder / "data"
        self.run("initdb", "-D", str(self.data), "-U", "chalk", "-A", "trust", "-N",
                 "-E", "UTF8", "--no-locale")  # fmt: skip
        settings = [
            f"port = {self.port}", "listen_addresses = '127.0.0.1'",
            f"unix_socket_directories = '{folder}'", f"max_connections = {connections}",
            "shared_buffers = 16MB", "log_min_messages = fatal",
        ]  # fmt: skip
        if not durable:
            settings += ["fsync = off", "synchronous_commit = off", "full_page_writes = off"]
        own = self.data / "postgresql.auto.conf"
        own.write_text("\n".join(settings) + "\n")

    def run(self, program: str, *arguments: str) -> None:
        """Run one of the server's programs to its end."""
        command = [str(self._bin / program), *arguments]
        if self._user is not None:
            command = ["runuser", "-u", self._user, "--", *command]
        with tempfile.TemporaryFile() as said:
            done = subprocess.run(
                command, cwd=self._folder, stdin=subprocess.DEVNULL, stdout=said, stderr=said
            )
            said.seek(0)
            assert done.returncode == 0, said.read().decode(errors="replace")[-2000:]

    def start(self) -> None:
        log = str(self._folder / "log")
        self.run("pg_ctl", "-D", str(self.data), "-l", log, "-w", "-t", "60", "start")

    def stop(self, how: str = "immediate") -> None:
        self.run("pg_ctl", "-D", str(self.data), "-m", how, "-w", "stop")

    def psql(self, statement: str, database: str = "postgres") -> None:
        self.run("psql", "-h", "127.0.0.1", "-p", str(self.port), "-U", "chalk", "-d", database,
                 "-v", "ON_ERROR_STOP=1", "-c", statement)  # fmt: skip

    @property
    def address(self) -> str:
        return f"postgresql://chalk@127.0.0.1:{self.port}/postgres"


@contextmanager
def postgres(*, durable: bool = True, connections: int = 100) -> Iterator[PostgresServer]:
    """Start a server; stopped and thrown away at the end."""
    folder = Path(tempfile.mkdtemp(prefix="chalk-pg-", dir="/tmp"))
    try:
        server = PostgresServer(folder, durable=durable, connections=connections)
        server.start()
        try:
            yield server
        finally:
            server.stop()
    finally:
        shutil.rmtree(folder, ignore_errors=True)
