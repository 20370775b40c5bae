"""A small proxy before a server, whose connections can be cut in the middle of anything."""

from __future__ import annotations

import contextlib
import random
import socket
import threading


class CutProxy:
    """Passes bytes on to a port of this machine; each connection by two threads.

    Parameters
    ----------
    port : int
        The server's.

    Attributes
    ----------
    port : int
        Its own.
    cuts : int
        How many connections were cut.
    """

    def __init__(self, port: int) -> None:
        self._server = port
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.port = self._listening.getsockname()[1]
        self.cuts = 0
        self._open: list[tuple[socket.socket, socket.socket]] = []
        self._lock = threading.Lock()
        threading.Thread(target=self._accept, daemon=True).start()

    def close(self) -> None:
        self._listening.close()
        self.cut(1.0, random.Random(0))

    def cut(self, share: float, chance: random.Random) -> None:
        """Cut about this share of the connections, without any farewell."""
        with self._lock:
            chosen = [pair for pair in self._open if chance.random() < share]
        for pair in chosen:
            self.cuts += 1
            self._drop(pair)

    def _drop(self, pair: tuple[socket.socket, socket.socket]) -> None:
        with self._lock, contextlib.suppress(ValueError):
            self._open.remove(pair)
        for each in pair:
            with contextlib.suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)
            each.close()

    def _accept(self) -> None:
        while True:
            try:
                client, _ = self._listening.accept()
            except OSError:
                return
            try:
                server = socket.create_connection(("127.0.0.1", self._server))
            except OSError:  # the server is just starting again
                client.close()
                continue
            pair = (client, server)
            with self._lock:
                self._open.append(pair)
            for one, other in ((client, server), (server, client)):
                threading.Thread(target=self._pass, args=(one, other, pair), daemon=True).start()

    def _pass(
        self, one: socket.socket, other: socket.socket, pair: tuple[socket.socket, socket.socket]
    ) -> None:
        with contextlib.suppress(OSError):
            while some := one.recv(1 << 16):
                other.sendall(some)
        self._drop(pair)
