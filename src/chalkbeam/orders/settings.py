"""What is set at the press for an imprint, and what it takes to change that."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Any

from chalkbeam.orders.pieces import PressSettings
from chalkbeam.orders.times import Times

_TEMPERATURE = re.compile(
    r"(\d{1,3}(?:[.,]\d+)?)(?:\s*[-–]\s*(\d{1,3}(?:[.,]\d+)?))?\s*(?:°|deg\w*)?\s*([cf])\w*",
    re.IGNORECASE,
)
MOST_TRIED = 5
"""Settings whose every order is tried; more are taken each by what is cheapest next."""


class Degrees(Enum):
    """What temperatures are shown in."""

    AS_WRITTEN = "as written"
    CELSIUS = "C"
    FAHRENHEIT = "F"


@dataclass(frozen=True)
class Setting:
    """What the operator sets at the press; word for word, but for how it is spelled.

    Attributes
    ----------
    temperature, pressure, peel, time : str
        Empty where the sheet says nothing.
    """

    temperature: str = ""
    pressure: str = ""
    peel: str = ""
    time: str = ""

    @classmethod
    def of(cls, press: PressSettings) -> Setting | None:
        """Return what an imprint wants; None where that is no temperature, pressure or peel."""
        read = _TEMPERATURE.fullmatch(press.temperature.strip())
        temperature = press.temperature
        if read is not None:
            most = f"–{read[2]}" if read[2] else ""
            temperature = f"{read[1]}{most} °{read[3].upper()}"
        pressure = re.sub(r"\s*pressure$", "", press.pressure.strip(), flags=re.IGNORECASE)
        peel = re.sub(r"^peel\s+|\s+peel$", "", press.peel.strip(), flags=re.IGNORECASE)
        if not (temperature or pressure or peel):
            return None
        return cls(temperature, pressure.casefold(), peel.casefold(), press.time)

    @property
    def celsius(self) -> float | None:
        """The temperature, of a range its middle; None where it is not given in degrees."""
        read = _TEMPERATURE.fullmatch(self.temperature)
        if read is None:
            return None
        degrees = _number(read[1])
        degrees = (degrees + _number(read[2])) / 2 if read[2] else degrees
        return degrees if read[3].upper() == "C" else (degrees - 32) / 1.8

    def temperature_in(self, degrees: Degrees) -> str:
        """Return the temperature as the shop reads it, to the whole degree where converted."""
        read = _TEMPERATURE.fullmatch(self.temperature)
        if read is None or degrees.value in (Degrees.AS_WRITTEN.value, read[3].upper()):
            return self.temperature
        to_celsius = degrees is Degrees.CELSIUS
        values = [_number(each) for each in read.groups()[:2] if each]
        turned = [(each - 32) / 1.8 if to_celsius else each * 1.8 + 32 for each in values]
        return f"{'–'.join(f'{each:.0f}' for each in turned)} °{degrees.value}"

    def words(self, degrees: Degrees = Degrees.AS_WRITTEN) -> str:
        """Return the setting in one line: “280 °F, medium · cold peel · 10 s”."""
        return " · ".join(self.lines(degrees))

    def lines(self, degrees: Degrees = Degrees.AS_WRITTEN) -> tuple[str, ...]:
        """Return the same, a line each: what is dialled, the peel, the time."""
        dialled = ", ".join(filter(None, (self.temperature_in(degrees), self.pressure)))
        peel = f"{self.peel} peel" if self.peel else ""
        return tuple(filter(None, (dialled, peel, self.time)))


def _number(text: str) -> float:
    return float(text.replace(",", "."))


def seconds_between(before: Setting | None, after: Setting | None, times: Times) -> float:
    """Return what it takes to set the press, s; nothing where nobody says what to set.

    Heating and cooling by the shop's own figures; a dial takes `Times.dial`, the pressure
    `Times.pressure`.
    """
    if before is None or after is None or before == after:
        return 0.0
    seconds = times.dial
    if before.celsius is not None and after.celsius is not None:
        rise = after.celsius - before.celsius
        seconds += rise / 10 * times.heat if rise > 0 else -rise / 10 * times.cool
    return seconds + (times.pressure if before.pressure != after.pressure else 0.0)


def least_to_set(wanted: Iterable[Setting | None], times: Times) -> float:
    """Return seconds below which no order can bring the press through all that is wanted."""
    found = {each for each in wanted if each is not None}
    degrees = [each.celsius for each in found if each.celsius is not None]
    unsaid = any(each.celsius is None for each in found)  # from there any temperature is free
    spread = 0.0 if unsaid or not degrees else max(degrees) - min(degrees)
    pressures = len({each.pressure for each in found})
    return (
        max(len(found) - 1, 0) * times.dial
        + spread / 10 * min(times.heat, times.cool)
        + max(pressures - 1, 0) * times.pressure
    )


def cheapest_round(
    wanted: Sequence[Setting | None],
    start: Setting | None,
    times: Times,
    waits: Mapping[tuple[Any, Any], int] | None = None,
) -> list[Setting | None]:
    """Return settings in the order that takes least to go through, from what is set.

    `waits` says how much of one setting, the second of a pair, waits for another: as little of it
    as can be comes too early, whatever that takes.
    """
    early = waits or {}

    def cost(order: Sequence[Setting | None]) -> tuple[int, float]:
        pairs = itertools.pairwise((start, *order))
        against = sum(early.get((b, a), 0) for a, b in itertools.combinations(order, 2))
        return against, sum(seconds_between(a, b, times) for a, b in pairs)

    # Those that want nothing set go first, while nothing has been; it costs nothing anywhere.
    free = [each for each in wanted if each is None]
    rest = sorted((each for each in wanted if each is not None), key=lambda e: e.celsius or 0.0)
    if len(rest) <= MOST_TRIED:
        return [*free, *min(itertools.permutations(rest), key=cost)]
    order: list[Setting | None] = []
    at = start
    while rest:
        nearest = min(rest, key=lambda each: seconds_between(at, each, times))
        order.append(nearest)
        rest.remove(nearest)
        at = nearest
    return [*free, *order]
