"""The mirror image of a location on the wearer's other side."""

from __future__ import annotations

import re
from typing import Any

_OTHER = {"left": "right", "right": "left", "Left": "Right", "Right": "Left"}
_WORD = re.compile(r"(?<![a-zA-Z])(left|right|Left|Right)(?![a-zA-Z])")


def other_side(text: str) -> str:
    """Return a name or a sentence with left and right exchanged.

    Examples
    --------
    >>> other_side("left_neck_point")
    'right_neck_point'
    """
    return _WORD.sub(lambda match: _OTHER[match[1]], text)


def twin_of(raw: dict[str, Any]) -> dict[str, Any]:
    """Return the content of a location file, as TOML gives it, for its twin.

    Names of lines, faces and features exchange left and right, and so do the
    directions of distances (which are keys). The art is not mirrored, nor is its
    turn: a script rises to the right on either side.
    """
    twin: dict[str, Any] = _exchange(raw)
    del twin["twin"]
    twin["also"] = list(raw.get("twin_also", []))
    twin.pop("twin_also", None)
    if "moved" in raw:
        twin["moved"] = raw["moved"]  # each says which of the two it is about
    return twin


def _exchange(value: Any) -> Any:
    if isinstance(value, str):
        return other_side(value)
    if isinstance(value, list):
        return [_exchange(item) for item in value]
    if isinstance(value, dict):
        return {other_side(key): _exchange(item) for key, item in value.items()}
    return value
