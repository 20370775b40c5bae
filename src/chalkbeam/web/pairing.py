"""Who is let in: devices that were paired, and the codes that pair one."""

from __future__ import annotations

import hashlib
import json
import secrets
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from calibration.files import read_whole, write_whole
from calibration.refusal import Refusal
from chalkbeam.web.doors import Device, Right

CODE_LASTS = 120.0
"""Seconds for which a code pairs a device."""

KEY_LASTS = 600.0
"""Seconds for which this machine's own key does: a browser may be slow to start."""

TRIES, WITHIN = 5, 60.0
"""So many tries in so many seconds are answered, by one address."""

WRONG = 10
"""After so many wrong tries every code is void: nobody guesses a million in time."""


class Devices:
    """The devices that are let in, in a file of the data folder.

    Several servers may share the file (the shop's page, and that of a run): each looks whether
    it has changed. The file tells, too, whether the shop has the page open to its network.

    Parameters
    ----------
    file : Path
        It need not exist yet.
    """

    def __init__(self, file: Path) -> None:
        self._file, self._lock = file, threading.Lock()
        self._kept, self._stamp = _Kept(), -1

    def _now(self) -> _Kept:
        try:
            stamp = self._file.stat().st_mtime_ns
        except OSError:
            stamp = 0
        if stamp != self._stamp:
            self._stamp, self._kept = stamp, _read(self._file)
        return self._kept

    @property
    def _devices(self) -> dict[str, Device]:
        return self._now().devices

    @property
    def shared(self) -> bool:
        """Whether the shop wants the page open to devices of its network."""
        return self._now().shared

    def share(self, shared: bool) -> None:
        """Keep whether it does, for the next time, too.

        Raises
        ------
        Refusal
            If that cannot be written down.
        """
        with self._lock:
            self._keep(self._devices, shared)

    def listed(self) -> tuple[Device, ...]:
        """Return all, the latest first."""
        return tuple(sorted(self._devices.values(), key=lambda each: each.paired, reverse=True))

    def of(self, secret: str) -> Device | None:
        """Return the device that has a secret, if any."""
        return self._devices.get(digest_of(secret)) if secret else None

    def knows(self, digest: str) -> bool:
        """Whether the device of a digest is let in still."""
        return digest in self._devices

    def add(self, name: str, right: Right) -> str:
        """Let a device in; return its secret.

        Raises
        ------
        Refusal
            If that cannot be written down.
        """
        secret = secrets.token_urlsafe(32)
        paired = datetime.now(UTC).isoformat(timespec="seconds")
        device = Device(secrets.token_hex(6), name, right, digest_of(secret), paired)
        with self._lock:
            self._keep({**self._devices, device.digest: device}, self.shared)
        return secret

    def forget(self, id: str) -> None:  # noqa: A002 - the device's own word
        """Let a device in no longer.

        Raises
        ------
        Refusal
            If that cannot be written down.
        """
        with self._lock:
            left = {digest: each for digest, each in self._devices.items() if each.id != id}
            self._keep(left, self.shared)

    def _keep(self, devices: dict[str, Device], shared: bool) -> None:
        rows = [asdict(each) | {"right": each.right.value} for each in devices.values()]
        write_whole(self._file, json.dumps({"shared": shared, "devices": rows}, indent=1))
        self._stamp = -1


@dataclass(frozen=True)
class _Kept:
    """What the file says; devices by digest."""

    devices: dict[str, Device] = field(default_factory=dict)
    shared: bool = False


def digest_of(secret: str) -> str:
    """Return what is kept of a secret."""
    return hashlib.sha256(secret.encode()).hexdigest()


def _read(file: Path) -> _Kept:
    """Return what a file says; nothing where it is damaged: each can be paired again."""
    try:
        said = json.loads(read_whole(file))
        devices = [Device(**{**row, "right": Right(row["right"])}) for row in said["devices"]]
        return _Kept({each.digest: each for each in devices}, said.get("shared") is True)
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return _Kept()


@dataclass(frozen=True)
class _Offer:
    """What a code is good for, and until when on the monotonic clock, s."""

    right: Right
    until: float
    name: str = ""


class TooManyTriesError(Exception):
    """An address must wait before it tries another code."""


class Codes:
    """Codes that pair one device each.

    Parameters
    ----------
    clock : callable
        Gives the time, s; for tests.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock, self._lock = clock, threading.Lock()
        self._offers: dict[str, _Offer] = {}
        self._tries: dict[str, deque[float]] = {}
        self._wrong = 0

    def offer(self, right: Right) -> str:
        """Return a new code of six digits; the one before is void."""
        with self._lock:
            self._offers = {code: each for code, each in self._offers.items() if each.name}
            self._wrong = 0
            code = f"{secrets.randbelow(10**6):06d}"
            self._offers[code] = _Offer(right, self._clock() + CODE_LASTS)
            return code

    def key(self, name: str) -> str:
        """Return a key for a browser of this machine, which may do all; it is of one use, too."""
        with self._lock:
            key = secrets.token_urlsafe(24)
            self._offers[key] = _Offer(Right.SET_UP, self._clock() + KEY_LASTS, name)
            return key

    def take(self, code: str, address: str) -> tuple[Right, str] | None:
        """Use a code up; return its right and, of a key, the device's name; None if it is none.

        Raises
        ------
        TooManyTriesError
            If the address has tried too often of late.
        """
        now = self._clock()
        with self._lock:
            recent = self._tries.setdefault(address, deque(maxlen=TRIES))
            if len(recent) == TRIES and now - recent[0] < WITHIN:
                raise TooManyTriesError
            recent.append(now)
            self._tries = {
                who: when for who, when in self._tries.items() if now - when[-1] < WITHIN
            }
            offer = self._offers.pop(code, None)
            if offer is not None and now < offer.until:
                return offer.right, offer.name
            self._wrong += 1
            if self._wrong >= WRONG:
                self._offers = {each: of for each, of in self._offers.items() if of.name}
            return None


def named(name: str) -> str:
    """Return a device's name as it is kept.

    Raises
    ------
    Refusal
        If nothing of it can be read.
    """
    plain = "".join(letter for letter in name if letter.isprintable()).strip()[:40]
    if not plain:
        raise Refusal("The device has no name yet: type one, so that it can be told from others.")
    return plain
