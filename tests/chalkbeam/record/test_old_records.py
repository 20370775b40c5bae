"""Records of older and newer versions: brought up once and kept, or refused."""

import itertools
import os
import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest
import sqlalchemy as sa

from calibration.refusal import Refusal
from chalkbeam.record import conversion, migrations
from chalkbeam.record.events import Step
from chalkbeam.record.migrations import newest
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from tests.support.old_records import old_record
from tests.support.random_orders import begin


def version(path):
    with sqlite3.connect(path) as raw:
        found = raw.execute("PRAGMA user_version").fetchone()[0]
    raw.close()
    return found


def old(folder, made):
    """Write a record as version `made` did; return its runs and their events."""
    with Store(folder / "new.db") as store:
        runs = []
        for seed in (3, 4):
            run = begin(store, seed=seed, digest=str(seed))
            session = open_session(store, run, operator="Søren")
            session.step(Step.LAY)
            session.press({"x": 1.5, "y": -2.0, "angle": 0.1})
            session.undo()
            runs.append((run, store.events(run)))
    old_record(folder / "old.db", made, runs)
    return runs


@pytest.mark.parametrize("made", [1, 2, 3, 4])
def test_an_older_record_is_brought_up_once_and_kept(tmp_path, caplog, made):
    runs = old(tmp_path, made)
    path = tmp_path / "old.db"
    before = path.read_bytes()
    for _ in range(2):
        with Store(path) as store:
            assert [heading.id for heading in store.runs()] == [run.id for run, _ in runs]
            for run, events in runs:
                assert store.run(run.id) == run
                assert [replace(each, seq=0) for each in store.events(run)] == [
                    replace(each, seq=0) for each in events
                ]
    assert version(path) == newest()
    kept = tmp_path / f"old.db.version-{made}"
    assert kept.read_bytes() == before
    (said,) = caplog.messages  # once
    assert said.endswith(f"is kept as {kept.name}.")
    with Store(path) as store:
        open_session(store, runs[0][0]).press()  # and it is gone on with


def test_an_older_record_killed_while_it_is_brought_up_loses_nothing(tmp_path, monkeypatch):
    runs = old(tmp_path, 4)
    path, chance = tmp_path / "old.db", itertools.count()
    for moment in ("replace", "sync_folder", "_keep_old"):
        with monkeypatch.context() as killed:

            def stop(*_, **__):
                next(chance)
                raise KeyboardInterrupt

            killed.setattr(Path if moment == "replace" else conversion, moment, stop)
            with pytest.raises(KeyboardInterrupt):
                Store(path)
    assert next(chance) == 3
    with Store(path) as store:
        assert [len(store.events(run)) for run, _ in runs] == [4, 4]
    assert (tmp_path / "old.db.version-4").is_file()


@pytest.mark.parametrize("where", ["text", "page", "log"])
def test_an_older_record_that_is_damaged_stays_as_it_is(tmp_path, where):
    old(tmp_path, 4)
    path, log = tmp_path / "old.db", tmp_path / "old.db-wal"
    if where == "log":
        raw = sqlite3.connect(path)
        for number in range(40):  # as a kill leaves it
            raw.execute("INSERT INTO runs VALUES (?, '', '', '', NULL, '', '')", (str(number),))
            raw.commit()
        copies = {each: each.read_bytes() for each in (path, log)}
        raw.close()
        for each, content in copies.items():
            each.write_bytes(content)
        conversion.old_record.what_is_left(path)  # sound, as far as SQLite sees
    file = log if where == "log" else path
    spoiled = bytearray(file.read_bytes())
    if where == "text":
        at = spoiled.index(b'{"x": 1.5')
        spoiled[at + 6] = ord("2")
    else:  # the page that holds that event, of 4 kB as SQLite has them by default
        at = spoiled.index(b'{"x": 1.5') // 4096 * 4096 if where == "page" else len(spoiled) // 3
        spoiled[at : at + 600] = os.urandom(600)
    file.write_bytes(spoiled)
    before = path.read_bytes(), file.read_bytes()
    with pytest.raises(Refusal, match=r"damaged .*it was left as it is.*save what can be read"):
        Store(path)
    assert (path.read_bytes(), file.read_bytes()) == before
    assert not list(tmp_path.glob("old.db.*"))


def test_a_migration_that_fails_leaves_nothing_behind(tmp_path):
    def breaks(connection):
        connection.exec_driver_sql("CREATE TABLE half (x)")
        raise sqlite3.OperationalError("database or disk is full")

    engine = Store(tmp_path / "record.db")._database._engine
    steps = (*migrations.STEPS, breaks)
    with engine.connect() as connection, pytest.raises(sqlite3.OperationalError):
        migrations.migrate(connection, steps)
    with engine.connect() as connection:
        assert "half" not in sa.inspect(connection).get_table_names()
    engine.dispose()
    assert version(tmp_path / "record.db") == newest()


def test_a_record_of_a_newer_program_is_refused(tmp_path):
    Store(tmp_path / "record.db").close()
    with sqlite3.connect(tmp_path / "record.db") as raw:
        raw.execute("PRAGMA user_version = 99")
    raw.close()
    with pytest.raises(Refusal, match="update Chalkbeam"):
        Store(tmp_path / "record.db")
