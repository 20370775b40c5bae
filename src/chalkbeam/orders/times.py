"""How long the steps of a shift take: the user's times, or assumptions."""

from __future__ import annotations

from dataclasses import dataclass, fields

from calibration.refusal import Refusal


@dataclass(frozen=True)
class Times:
    """Seconds for each step at the press.

    Every default is an **assumption** to be replaced by times taken in the shop; only
    their ratios decide the order of work. `measure` is what the light saves: measuring a
    piece by hand takes up to a minute (common practice, no source).

    Attributes
    ----------
    platen : float
        Take the lower platen off and fit another.
    pad : float
        Put in, take out or change a pad.
    load : float
        Take a piece from its pile and thread it on the platen.
    turn : float
        Take the same piece off and thread it on another way (front to back).
    stack : float
        Put one pile of transfer sheets aside and take another.
    pile : float
        Go over to another pile of garments (style, colour or size).
    heat, cool : float
        Let the press come up, or down, by 10 °C.
    dial : float
        Set anything at the press.
    pressure : float
        Set another pressure.
    lay : float
        Lay one sheet to the light.
    press : float
        Close and open the press and peel, without the dwell.
    dwell : float
        Used in estimates only, where the sheet gives no time; never a press setting.
    measure : float
        Measure one piece by hand.
    """

    platen: float = 180.0
    pad: float = 30.0
    load: float = 15.0
    turn: float = 12.0
    stack: float = 10.0
    pile: float = 5.0
    heat: float = 20.0
    cool: float = 60.0
    dial: float = 5.0
    pressure: float = 10.0
    lay: float = 8.0
    press: float = 8.0
    dwell: float = 15.0
    measure: float = 60.0

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if not 0 <= value < 86400:
                raise Refusal(
                    f"The time “{field.name}” is {value:g} s: write seconds from 0 to a day."
                )

    @classmethod
    def parse(cls, text: str) -> Times:
        """Return times from text such as ``platen=240 load=10``; the rest stay assumptions.

        Raises
        ------
        Refusal
            If a name is not a step or a value is not a number of seconds.
        """
        known = {field.name for field in fields(cls)}
        given: dict[str, float] = {}
        for part in text.replace(",", " ").split():
            name, _, value = part.partition("=")
            if name not in known:
                raise Refusal(
                    f"“{name}” is not a step with a time: choose from {', '.join(sorted(known))}."
                )
            try:
                given[name] = float(value)
            except ValueError:
                raise Refusal(
                    f"“{part}” is not a time: write the step and seconds, such as {name}=20."
                ) from None
        return cls(**given)


def format_duration(seconds: float) -> str:
    """Return a duration for people: ``45 s``, ``2 min 05 s``, ``12 min``, ``1 h 05 min``."""
    whole = round(seconds)
    if whole < 90:
        return f"{whole} s"
    if whole < 600:
        return f"{whole // 60} min {whole % 60:02d} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02d} min"
