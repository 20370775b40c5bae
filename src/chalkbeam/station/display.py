"""What the operator's display shows, as plain values that pass from one process to another."""

from __future__ import annotations

from dataclasses import dataclass, replace

from calibration.geometry import XY, PlatenFace
from chalkbeam.basics.units import Unit
from chalkbeam.garments.library import style_words
from chalkbeam.light.choice import Choice
from chalkbeam.orders.order_of_work import Stop
from chalkbeam.orders.pieces import PressSettings
from chalkbeam.orders.settings import Setting
from chalkbeam.orders.times import format_duration
from chalkbeam.placement import Placement, Severity
from chalkbeam.placement.loading import loading_words
from chalkbeam.placement.shift import Shift
from chalkbeam.placement.values import worst_first
from chalkbeam.record.events import UNDER_HEAD, Step
from chalkbeam.record.progress import Outcome, Progress
from chalkbeam.station.cautions import cautions
from chalkbeam.station.display_drawing import (
    ArtPicture,
    art_picture,
    garment_outline,
    plan_view,
)
from chalkbeam.station.dwell import dwell_of
from chalkbeam.station.help import shift_words
from chalkbeam.station.press_steps import steps_of
from chalkbeam.station.ready_imprint import cloth_of
from chalkbeam.station.scene import fitting, question
from chalkbeam.station.values import IT_IS_ON, IT_IS_SET, Asking, OperatorState, RunView
from chalkbeam.station.words import (
    finished_words,
    hand_words,
    piece_words,
    place_words,
    press_words,
    step_words,
    summary,
    to_do,
)
from overlay.marks import Mark
from overlay.palette import RGB

AHEAD = 9
"""How many stops to come are listed."""

BEHIND = 5
"""How many results are listed."""

_SHORT = {
    "turn": "turn",
    "stack": "other transfers",
    "pile": "other garments",
}


@dataclass(frozen=True)
class GettingReady:
    """What is shown before the first imprint: how far the order is placed ahead.

    Attributes
    ----------
    title : str
        Of the run.
    done, pieces : int
        How many pieces of how many; 0 of 0 before that is known.
    """

    title: str = ""
    done: int = 0
    pieces: int = 0


@dataclass(frozen=True)
class Display:
    """Everything on the operator's display.

    Attributes
    ----------
    title : str
        Of the run.
    heading : str
        Which piece of how many.
    piece : str
        Its garment; `whose` its colour, size, name and number.
    step : Step or None
        None when the order is finished.
    where, art : str
        Location and artwork.
    locations : tuple of (str, bool)
        What the number keys choose from, and which is in force.
    fitting : str
        Platen, pad and line lasers to see to before the garment is loaded.
    lie : str
        How the garment is laid, while it is loaded.
    settings, prepress : str
        The supplier's press settings as entered; what to do before.
    steps : tuple of Step
        Those of the imprint, as its transfer's sheet asks for them.
    dwell, dwell_ends : float or None
        Seconds that the step's time lasts; when it is over, s on the monotonic clock.
    meanwhile, afterwards : str
        What to do while it runs, and when it is over.
    cooling : tuple of (str, float or None)
        What was put aside to cool, and when it has, s on the monotonic clock.
    asked : tuple of str
        A question with its answers; empty if there is none.
    to_set : bool
        Whether what is asked is to put a platen on or to set the press: everything else may be
        done as well.
    typing : bool
        Whether the answer is typed, letter by letter; else it is one of those listed.
    moving : bool
        Whether the garment's lines are being moved on to the real collar.
    moved : str
        How far lines were moved.
    remark, trouble : str
        The last remark; what is wrong.
    warnings : tuple of (Severity, str)
        What to know before this imprint is pressed, the worst first.
    coming : tuple of (str, str)
        The stops to come: what, and what to change before.
    results : tuple of (str, str)
        The last ones: what, and how it ended, the latest first.
    pressed, skipped, spoiled, total : int
        Imprints.
    left : str
        Time left.
    paused, dark : bool
    face : PlatenFace
    cloth : RGB
        The garment's colour; grey where nobody knows it.
    plan : tuple of Mark
        Lines of the plan view, platen frame.
    picture : ArtPicture or None
    outline : tuple of XY
        Of the garment's face as it is to lie, platen frame, mm; empty where it is unknown.
    """

    title: str
    heading: str
    piece: str
    whose: str
    step: Step | None
    where: str
    art: str
    locations: tuple[tuple[str, bool], ...]
    fitting: str
    lie: str
    settings: str
    prepress: str
    steps: tuple[Step, ...]
    dwell: float | None
    dwell_ends: float | None
    meanwhile: str
    afterwards: str
    cooling: tuple[tuple[str, float | None], ...]
    asked: tuple[str, ...]
    to_set: bool
    typing: bool
    moving: bool
    moved: str
    remark: str
    trouble: str
    warnings: tuple[tuple[Severity, str], ...]
    coming: tuple[tuple[str, str], ...]
    results: tuple[tuple[str, str], ...]
    pressed: int
    skipped: int
    spoiled: int
    total: int
    left: str
    paused: bool
    dark: bool
    face: PlatenFace
    cloth: RGB
    plan: tuple[Mark, ...]
    picture: ArtPicture | None
    outline: tuple[XY, ...]


def display_of(view: RunView, state: OperatorState) -> Display:
    """Return what to show of a run."""
    progress = view.progress
    stop, index = progress.stop, progress.at.index
    outcomes = list(progress.outcomes.values())
    press = stop.imprint.press if stop is not None else None
    here = progress.location(index) if index is not None else ""
    nudge = progress.nudge(index) if index is not None else Shift()
    choice = view.ready.choice if view.ready is not None else None
    laid = choice.laid(nudge) if choice is not None else None
    dwell = dwell_of(progress, state.pressing_since)
    told = step_words(progress) if view.mode.counted else ((), ())
    heading = (
        "finished"
        if stop is None
        else f"{press_words(progress, progress.at)} · piece {stop.piece.id}"
    )
    return Display(
        title=" · ".join(filter(None, (view.title, view.queue_note))),
        heading=heading,
        piece=finished_words(progress).capitalize()
        if stop is None
        else choice.placement.garment.label
        if choice is not None
        else style_words(stop.piece.style),
        whose=piece_words(stop) if stop is not None else "",
        step=progress.at.step if stop is not None else None,
        where=choice.placement.location.title if choice is not None else here,
        art=stop.imprint.art.text if stop is not None else "",
        locations=tuple((place_words(name), name == here) for name in view.locations),
        fitting=", ".join((*fitting(progress, progress.at), *view.aiming)),
        lie=_lie(progress.at.step, choice, view.unit),
        settings=_settings(view, press),
        prepress=_prepress(progress),
        steps=steps_of(progress, index) if index is not None else (),
        dwell=None if dwell is None else dwell.seconds,
        dwell_ends=None if dwell is None else dwell.ends,
        meanwhile=", ".join(told[0]),
        afterwards=", ".join(told[1]),
        cooling=_cooling(progress),
        asked=_asked(view, state),
        to_set=state.asking is None and view.to_see_to,
        typing=state.asking is Asking.JUMP,
        moving=state.moving is not None,
        moved=shift_words(nudge if state.moving is None else state.moving, view.unit),
        remark="Escape again: end" if state.leaving else (state.said or state.eye),
        trouble=state.trouble or view.refused or view.sheet_note,
        warnings=(
            *((Severity.NOTE, said) for said in _finish(progress)),
            *((Severity.NOTE, said) for said in view.offers),
            *_notes(stop),
            *((Severity.CAUTION, said) for said in cautions(progress, progress.at)),
            *_warnings(choice, laid, view.unit),
        ),
        coming=_coming(view),
        results=_results(progress),
        pressed=outcomes.count(Outcome.PRESSED),
        skipped=outcomes.count(Outcome.SKIPPED),
        spoiled=sum(progress.spoiled_pieces.values()),
        total=progress.count,
        left=format_duration(progress.seconds_left()),
        paused=progress.paused,
        dark=state.dark or progress.at.step in UNDER_HEAD,
        face=view.rig.face,
        cloth=cloth_of(stop.piece.colour if stop is not None else ""),
        plan=plan_view(view.rig.face, choice, progress.at.step, laid),
        picture=art_picture(choice, stop, laid),
        outline=garment_outline(choice),
    )


def _asked(view: RunView, state: OperatorState) -> tuple[str, ...]:
    """Return the question to be answered: the operator's own, else what to see to first."""
    if state.asking is not None:
        return question(state, state.asking)
    if view.progress.paused or state.dark or state.moving is not None:
        return ()
    if view.to_fit is not None:
        return (f"PUT ON PLATEN {view.to_fit}", f"1  {IT_IS_ON[0]}")
    wanted = view.to_set
    asked = "" if wanted is None else f"SET PRESS {wanted.words(view.degrees)}"
    return (asked, f"1  {IT_IS_SET[0]}") if asked else ()


def _lie(step: Step, choice: Choice | None, unit: Unit) -> str:
    if choice is None or step is not Step.LOAD:
        return ""
    return loading_words(choice.placement, choice.loading).say(unit)


def _prepress(progress: Progress) -> str:
    """Return the pre-press that is still to come, as the transfer's sheet gives it."""
    asked = None if progress.at.index is None else progress.prepress(progress.at.index)
    return "" if asked is None or progress.at.step is not Step.LOAD else asked.prepress


def _cooling(progress: Progress) -> tuple[tuple[str, float | None], ...]:
    found = []
    for index in progress.aside():
        waits = progress.waits(index)
        until = None if waits is None else waits.cools_until
        stop = progress.stops[index]
        what = f"{stop.piece.id} · {piece_words(stop)} · {place_words(progress.location(index))}"
        found.append((what, until))
    return tuple(found)


def _finish(progress: Progress) -> tuple[str, ...]:
    """Return what was done and what to do where nothing is left; the heading says that it is so."""
    return (*summary(progress)[1:], *to_do(progress)) if progress.stop is None else ()


def _settings(view: RunView, press: PressSettings | None) -> str:
    """Return the supplier's settings for the operator, temperatures as the shop reads them."""
    if press is None:
        return ""
    setting = Setting.of(press)
    if setting is None:
        return str(press)
    return str(replace(press, temperature=setting.temperature_in(view.degrees)))


def _what(stop: Stop, location: str) -> str:
    return f"{piece_words(stop)} · {place_words(location)}: {stop.imprint.art.text}"


def _coming(view: RunView) -> tuple[tuple[str, str], ...]:
    progress, start = view.progress, view.progress.at.index
    if start is None:
        return ()
    lines: list[tuple[str, str]] = []
    for index in range(start + 1, len(progress.stops)):
        stop = progress.stops[index]
        if stop.imprint.id in progress.outcomes or progress.waits(index) is not None:
            continue
        setting = Setting.of(stop.imprint.press)
        words = {"platen": stop.fit.platen_words, "pad": stop.fit.pad_words, **_SHORT}
        if setting is not None:
            words["setting"] = f"set the press: {setting.words(view.degrees)}"
        changes = [words[name] for name in stop.changes if name in words]
        lines.append((_what(stop, progress.location(index)), ", ".join(changes)))
        if len(lines) == AHEAD:
            break
    return tuple(lines)


def _results(progress: Progress) -> tuple[tuple[str, str], ...]:
    places = {stop.imprint.id: index for index, stop in enumerate(progress.stops)}
    latest = list(progress.outcomes.items())[-BEHIND:][::-1]
    return tuple(
        (_what(progress.stops[places[imprint]], progress.location(places[imprint])), outcome.value)
        for imprint, outcome in latest
    )


def _notes(stop: Stop | None) -> tuple[tuple[Severity, str], ...]:
    """Return what the sheet says to whoever has the piece in hand."""
    return () if stop is None else tuple((Severity.NOTE, words) for words in hand_words(stop))


def _warnings(
    choice: Choice | None, laid: Placement | None, unit: Unit
) -> tuple[tuple[Severity, str], ...]:
    if choice is None or laid is None:
        return ()
    every = worst_first((*laid.warnings, *choice.loading.concerns))
    return tuple((each.severity, each.sentence.say(unit)) for each in every)
