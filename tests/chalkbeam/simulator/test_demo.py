"""The demo's pieces; the whole of it is run by `make demo`."""

from __future__ import annotations

from pathlib import Path

import pygame
import pytest

from calibration.refusal import Refusal
from chalkbeam.simulator import demo
from chalkbeam.simulator.rig.stage import perfect_map, sample_rig
from chalkbeam.station.controller import StationController
from overlay.window.inputs import Input
from tests.support.keys import type_keys
from tests.support.rigs import demo_rig


@pytest.mark.slow
@pytest.mark.parametrize("piece", demo.ORDER, ids=lambda piece: piece.name)
def test_every_piece_is_lit_where_it_is_meant(piece: demo.DemoImprint) -> None:
    rig = sample_rig()
    found = perfect_map(rig)
    lit = demo.light_up(piece)
    cloth = demo.lay_cloth(lit, density=0.8)
    miss = demo.on_cloth(rig, found, cloth, lit.lay, lit.loading.platen)
    # With the true map only the cloth's wrinkles are left: 0.25 mm times the beam's tangent.
    assert miss.rms < 0.3
    frames = demo.frames(lit, found)
    assert set(frames) == {"load", "lay"}
    for frame in frames.values():
        assert frame.shape == (1080, 1920, 3)
        assert 0.0005 < (frame.max(axis=2) > 60).mean() < 0.3  # lines, not areas
    assert piece.cloth in demo.words(lit)


def test_exact_map_lands_exactly() -> None:
    rig = sample_rig()
    for height in demo.HEIGHTS:
        assert demo.over_platen(rig, perfect_map(rig), height).worst < 1e-6


def test_missing_samples_are_refused(tmp_path: Path) -> None:
    with pytest.raises(Refusal, match="sample photos are not in"):
        demo.samples(tmp_path)


def test_the_order_is_worked_in_a_window(monkeypatch: pytest.MonkeyPatch) -> None:
    lit = []
    take = StationController.take

    def watched(self: StationController, happened: Input) -> StationController:
        take(self, happened)
        lit.append((self.session.progress.stop.imprint.id, self.readiness.refused))
        return self

    monkeypatch.setattr(StationController, "take", watched)
    monkeypatch.setattr("chalkbeam.station.state.BOUNCE", 0.0)
    steps = [pygame.K_SPACE] * (3 * len(demo.ORDER) - 1)
    type_keys(monkeypatch, [*steps, pygame.K_ESCAPE, pygame.K_ESCAPE])
    demo.open_window(demo_rig())
    assert {imprint for imprint, _ in lit} == {f"{number}-1/1" for number in range(1, 6)}
    assert {refused for _, refused in lit} == {""}
