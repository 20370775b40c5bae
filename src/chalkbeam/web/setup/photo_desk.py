"""Photos that come in for the set-up: kept, and looked at one after the other."""

from __future__ import annotations

import hashlib
import logging
import threading
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress

from calibration.files import write_whole
from calibration.observations import PhotoObservation
from calibration.refusal import Refusal
from calibration.worker import Worker
from chalkbeam.web.setup import apart
from chalkbeam.web.setup.guide import Guide, GuideFile, GuidePhoto, Said
from chalkbeam.web.setup.light import SetupLight
from chalkbeam.web.words import t
from chalkbeam.web.worker import MEGABYTES, StoppedError, run_apart

_log = logging.getLogger(__name__)

LOOK_SECONDS = 60.0
"""Longest that one photo may take."""

MOST_PHOTOS = 24
MOST_BYTES = 40 * 1024 * 1024
"""Of one photo; phones write 2 to 12 MB."""

_KINDS = {
    b"\xff\xd8\xff": ".jpg", b"\x89PNG": ".png", b"RIFF": ".webp", b"II*\x00": ".tif",
    b"MM\x00*": ".tif",
}  # fmt: skip


class PhotoDesk:
    """Takes photos in and has them looked at; any thread may call it.

    Parameters
    ----------
    file : GuideFile
        Whose photos they are.
    light : SetupLight
        Photographs itself, on a simulated press.
    """

    def __init__(self, file: GuideFile, light: SetupLight) -> None:
        self._file, self._light = file, light
        self._lookers = ThreadPoolExecutor(1, thread_name_prefix="photos")
        self._looker = Worker(MEGABYTES * 1024 * 1024)
        self._seen: dict[str, PhotoObservation] = {}
        self._asked: set[str] = set()
        self._taking = False
        self._ended = threading.Event()
        self._lock = threading.Lock()

    def take_in(self, content: bytes, raised: float) -> None:
        """Keep a photo and have it looked at.

        Raises
        ------
        Refusal
            If it is no picture, has come before, or there are too many.
        """
        ending = _ending(content)
        if ending is None:
            raise Refusal("That is no photo: send a JPEG or HEIC as the phone takes it.")
        digest = hashlib.sha256(content).hexdigest()

        def add(guide: Guide) -> Guide:
            twice = next((each for each in guide.photos if each.digest == digest), None)
            if twice is not None:
                raise Refusal(
                    f"That is the same photo as {twice.name}: take another from a different side."
                )
            if len(guide.photos) >= MOST_PHOTOS:
                raise Refusal(f"There are {MOST_PHOTOS} photos: take away those that are not good.")
            name = f"photo-{guide.taken + 1}{ending}"
            write_whole(self._file.photos / name, content)
            photo = GuidePhoto(name=name, digest=digest, raised=raised)
            return guide.with_(photos=(*guide.photos, photo), taken=guide.taken + 1, refused="")

        guide = self._file.change(add)
        self._look(guide, guide.photos[-1])

    @property
    def taking(self) -> bool:
        """Whether the simulated press is being photographed."""
        return self._taking

    def photograph(self, guide: Guide) -> None:
        """Have a simulated press photographed; the photos come in one after the other."""
        if not self._taking:
            self._taking = True
            self._lookers.submit(self._photograph, guide)

    def _photograph(self, guide: Guide) -> None:
        try:
            for number in range(self._light.shots):
                with suppress(Refusal):  # the same photo once more
                    self.take_in(self._light.photo(guide.face, number), 0.0)
        finally:
            self._taking = False

    def take_away(self, name: str) -> None:
        """Forget a photo."""

        def without(guide: Guide) -> Guide:
            return guide.with_(photos=tuple(each for each in guide.photos if each.name != name))

        if self._file.load().photo(name) is not None:
            self._file.change(without)
            for path in (self._file.photos / name, apart.small_place(self._file.photos / name)):
                path.unlink(missing_ok=True)

    def look_at_all(self, guide: Guide) -> None:
        """Have those looked at that nobody looks at, as after a restart."""
        for photo in guide.photos:
            if photo.said is Said.LOOKING:
                self._look(guide, photo)

    def seen(self) -> dict[str, PhotoObservation]:
        """Return what was found in the good ones, by name."""
        return dict(self._seen)

    def end(self) -> None:
        """Look no longer: the page ends."""
        self._ended.set()
        self._lookers.shutdown(wait=False, cancel_futures=True)
        self._looker.close()

    def _look(self, guide: Guide, photo: GuidePhoto) -> None:
        with self._lock:
            if photo.name in self._asked or guide.size is None:
                return
            self._asked.add(photo.name)
        self._lookers.submit(self._look_now, guide, photo)

    def _look_now(self, guide: Guide, photo: GuidePhoto) -> None:
        path = self._file.photos / photo.name
        values: dict[str, object]
        try:
            found = run_apart(
                apart.look_at, path, photo.raised, guide.face, guide.size,
                seconds=LOOK_SECONDS, stop=self._ended, by=self._looker,
            )  # fmt: skip
        except StoppedError:
            return
        except Refusal as refusal:
            if self._ended.is_set():  # the photo is looked at when the page is open again
                return
            sentence = str(refusal)
            values = {"said": Said.BAD, "sentence": sentence[:1].upper() + sentence[1:]}
        except Exception:
            _log.exception("%s", photo.name)
            values = {"said": Said.BAD, "sentence": t("failed.500")}
        else:
            self._seen[photo.name] = found.seen
            values = {"said": Said.GOOD, "towards": found.towards}
        finally:
            with self._lock:
                self._asked.discard(photo.name)
        self._file.change(lambda now: now.judged(photo.name, **values))


def _ending(content: bytes) -> str | None:
    """Return the ending that a photo's file gets, by its first bytes; None for no photo."""
    if len(content) > MOST_BYTES:
        return None
    if content[4:8] == b"ftyp":
        return ".heic"
    return next((end for start, end in _KINDS.items() if content.startswith(start)), None)
