"""An order and the command that works it, for tests of `chalkbeam run`."""

import pygame

from chalkbeam.record.events import Kind
from chalkbeam.record.store import Store

SHEET = """Style,Size,Colour,Qty,Location,Artwork,Width,Time (s)
crew tee,M,navy,2,left chest,pennant.png,90 mm,12
crew tee,L,navy,1,full back,pennant.png,250 mm,
"""
WAY_OUT = [pygame.K_ESCAPE, pygame.K_ESCAPE]
STEPS = [pygame.K_SPACE] * 3
PLAIN = SHEET.replace(",12\n", ",\n")  # no dwell to confirm: three steps press an imprint
USUAL = (
    "run", "crew.csv", "--rig", "rig.json", "--record", "record.db", "--window", "--no-page",
)  # fmt: skip


def pressed(folder):
    with Store(folder / "record.db") as store:
        runs = store.runs()
        return [
            [event.imprint for event in store.events(store.run(run.id))
             if event.kind is Kind.PRESSED]
            for run in runs
        ]  # fmt: skip
