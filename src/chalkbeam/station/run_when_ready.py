"""A window that is open at once, while what it will show is still being worked out."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Generic, TypeVar

from chalkbeam.station.keys import Act, action_for
from overlay.draw.frame import Frame
from overlay.window.displays import Screen
from overlay.window.inputs import Closed, DisplayBack, DisplayLost, Input, Key, Told
from overlay.window.run import run

T = TypeVar("T")

SETTLING = 0.25
"""Keys that come sooner after the first picture, s, were pressed before anybody saw it."""


@dataclass(frozen=True, eq=False)
class _Prepared(Generic[T]):
    """What the preparing thread has to say: what begins the work, or why nothing does."""

    begin: Callable[[], T] | None = None
    failed: BaseException | None = None


@dataclass(frozen=True, eq=False)
class _Now(Generic[T]):
    """What the window shows: nothing yet, or what has been made ready.

    `display` is what was last told of the display while nothing was ready.
    """

    ready: T | None = None
    failed: BaseException | None = None
    over: bool = False
    display: DisplayLost | DisplayBack | None = None


def run_when_ready(
    prepare: Callable[[], Callable[[], T]],
    screen: Screen,
    *,
    waiting: Frame | None,
    update: Callable[[T, Input], T],
    view: Callable[[T], Frame | None],
    done: Callable[[T], bool],
    due: Callable[[T], float | None] = lambda state: None,
    shown: Callable[[T], None] = lambda state: None,
    ahead: Callable[[T], Iterator[None] | None] = lambda state: None,
    listen: Callable[[Callable[[Input], None]], None] | None = None,
) -> T | None:
    """Open the window, prepare in the background, then go on as `overlay.window.run`.

    A key typed before the first picture is up does nothing: a foot on the pedal meant
    whatever was there before, and must not confirm what nobody has seen. Only Escape (or
    the window's own close button) counts: it ends, and what was being prepared is never begun.

    Parameters
    ----------
    prepare : callable
        Does what takes long and changes nothing, in a thread of its own; returns a function
        that gives the first state. That one runs in the window's thread, and only while the
        operator has not left: the place to write to a record.
    waiting : Frame or None
        What to show meanwhile.
    screen, update, view, done, due, shown, ahead, listen
        As in `overlay.window.run`.

    Returns
    -------
    state or None
        The last state; None if the operator left before the first.

    Raises
    ------
    BaseException
        Whatever `prepare`, or what it returns, raises, once the window is closed.
    """
    post: Callable[[Input], None] = lambda happened: None  # noqa: E731 - until there is a window
    began = False
    seen_at = float("inf")

    def work() -> None:
        try:
            told = _Prepared(prepare())
        except BaseException as error:
            told = _Prepared(failed=error)
        post(Told(told))

    def on_listen(given: Callable[[Input], None]) -> None:
        nonlocal post
        post = given
        if listen is not None:
            listen(given)

    def on_shown(now: _Now[T]) -> None:
        nonlocal began, seen_at
        if not began:
            began = True
            threading.Thread(target=work, daemon=True).start()
        if now.ready is not None:
            shown(now.ready)
            # Only now: keys typed while `shown` worked come with the next look for input.
            seen_at = min(seen_at, time.monotonic())

    def on_input(now: _Now[T], happened: Input) -> _Now[T]:
        match happened:
            case Told(_Prepared(begin=begin, failed=failed)):
                if begin is None:
                    return replace(now, failed=failed, over=True)
                ready = begin()
                return _Now(ready if now.display is None else update(ready, now.display))
            case DisplayLost() | DisplayBack() if now.ready is None:
                return replace(now, display=happened)
            case Key() if now.ready is None or happened.at < seen_at + SETTLING:
                action = action_for(happened)
                leaves = action is not None and action.act in (Act.LEAVE, Act.LEAVE_NOW)
                return replace(now, over=leaves and now.ready is None)
            case Closed() if now.ready is None:
                return replace(now, over=True)
        return now if now.ready is None else replace(now, ready=update(now.ready, happened))

    last = run(
        _Now[T](),
        screen,
        update=on_input,
        view=lambda now: waiting if now.ready is None else view(now.ready),
        done=lambda now: now.over or (now.ready is not None and done(now.ready)),
        due=lambda now: None if now.ready is None else due(now.ready),
        shown=on_shown,
        ahead=lambda now: None if now.ready is None else ahead(now.ready),
        listen=on_listen,
    )
    if last.failed is not None:
        raise last.failed
    return last.ready
