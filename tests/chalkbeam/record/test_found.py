"""Orders are found again by customer, name and date."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from chalkbeam.orders.order_of_work import plan
from chalkbeam.record.found import find_orders
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from tests.support.random_orders import random_order
from tests.support.run_cli import run_program


@pytest.fixture
def record(tmp_path):
    path = tmp_path / "record.db"
    with Store(path) as store:
        for title, customer, finish in (
            ("uniforms", "Quillmarsh Bakery", True),
            ("tees", "", False),
        ):
            pieces = [
                replace(piece, customer=customer, order_number="Q-7" if customer else "", name=name)
                for piece, name in zip(random_order(2, 2, lettering=0), ("ASH", "ELM"), strict=True)
            ]
            run = store.begin(plan(pieces), title=title, sheet=Path(f"{title}.csv"), digest=title)
            session = open_session(store, run)
            session.press()
            while finish and session.progress.stop is not None:
                session.press()
    return path


def test_by_customer_name_and_date(record):
    with Store(record) as store:
        every = find_orders(store)
        assert [each.title for each in every] == ["tees", "uniforms"]
        assert [each.finished for each in every] == [False, True]
        assert every[1].pressed == every[1].imprints
        for words in (["bakery"], ["q-7"], ["elm", "UNIFORMS"], [every[1].begun[:10], "quill"]):
            assert [each.title for each in find_orders(store, words)] == ["uniforms"]
        assert len(find_orders(store, ["ash"])) == 2
        assert find_orders(store, ["oak"]) == ()


def test_the_command_lists_them_and_says_how_to_go_on(record, capsys, monkeypatch):
    def orders(*words):
        return run_program(capsys, monkeypatch, "orders", *words, "--record", record)

    code, said, _ = orders("--open")
    assert code == 0
    assert "tees" in said
    assert "uniforms" not in said
    assert "Go on: chalkbeam orders" in said
    (found,) = json.loads(orders("bakery", "--json")[1])
    assert (found["customer"], found["order_number"]) == ("Quillmarsh Bakery", "Q-7")
    assert "No order is found" in orders("oak")[1]


def test_one_that_is_found_is_gone_on_with_or_pressed_again(record, capsys, monkeypatch, tmp_path):
    asked = []
    monkeypatch.setattr("chalkbeam.cli.run_at_press.run_at_press", lambda to, _: asked.append(to))

    def press(*words):
        return run_program(
            capsys, monkeypatch, "orders", *words, "--press", "--rig", "p1", "--record", record
        )

    code, _, said = press("ash")
    assert code == 2
    assert "2 orders are found" in said
    code, _, said = press("bakery")
    assert code == 2
    assert "uniforms.csv is there no more" in said
    monkeypatch.chdir(tmp_path)
    with Store(record) as store:
        tees, uniforms = find_orders(store)
    for each in (tees, uniforms):
        Path(each.sheet).write_text("")
        assert press(each.run[:8])[0] == 0
    assert [(to.sheet, to.again) for to in asked] == [
        (Path(tees.sheet), None), (Path(uniforms.sheet), uniforms.run)
    ]  # fmt: skip
    assert {to.rig for to in asked} == {("p1",)}
