"""A distance is changed in a location's file, and nothing else in it."""

from __future__ import annotations

import difflib
import tomllib

import pytest

from chalkbeam.locations.distances import place_of, with_distance
from chalkbeam.locations.library import DATA
from chalkbeam.locations.schema import Band, Preset

FILES = sorted(DATA.glob("*.toml"))


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_one_distance_of_one_age_changes(path):
    text = path.read_text("utf-8")
    before = Preset.model_validate(tomllib.loads(text))
    found = 0
    for number, rule in enumerate(before.rule):
        if place_of(text, number, "youth") is None:
            # It lies on the line, or counts for other ages alone.
            assert rule.direction in ("along", "across") or "youth" not in rule.ages
            continue
        found += 1
        changed = with_distance(text, number, "youth", Band(11.0, 12.5, 14.0))
        after = Preset.model_validate(tomllib.loads(changed))
        assert after.rule[number].by["youth"] == Band(11.0, 12.5, 14.0)
        others = [each for each in range(len(before.rule)) if each != number]
        assert [after.rule[each] for each in others] == [before.rule[each] for each in others]
        told = [line for line in difflib.ndiff(text.splitlines(), changed.splitlines())
                if line[0] in "+-"]  # fmt: skip
        assert len(told) == 2  # its comment stays, too
        assert told[0].partition("#")[1:] == told[1].partition("#")[1:]
    assert found


def test_there_is_no_such_rule():
    text = FILES[0].read_text("utf-8")
    assert place_of(text, 99, "adult") is None
    with pytest.raises(KeyError):
        with_distance(text, 99, "adult", Band(1.0, 1.0, 1.0))
