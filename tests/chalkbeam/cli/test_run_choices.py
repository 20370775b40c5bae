"""What `chalkbeam run` makes of an earlier run: what was spoiled, and never under the press."""

import pytest

from calibration.refusal import Refusal
from chalkbeam.cli.run_choices import taken_over
from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.sheet import read_sheet
from chalkbeam.record.events import Step
from chalkbeam.record.session import open_session
from chalkbeam.record.source import runs_in
from chalkbeam.record.store import Store
from tests.support.sheets import HEADER, ROW, sheet_writer


@pytest.fixture
def order(tmp_path):
    return read_sheet(sheet_writer(tmp_path)(f"{HEADER}\n{ROW}\n{ROW}\n"))


def session_on(order, folder):
    store = Store(folder / "record.db")
    planned = plan(order.pieces, as_listed=True)
    run = store.begin(planned, title="o", sheet=order.path.resolve(), digest=order.digest)
    return open_session(store, run)


def taken_over_of(folder, order, only_spoiled):
    with runs_in(folder / "record.db") as source:
        return taken_over(source, order, only_spoiled)


def test_only_what_was_spoiled_or_skipped_is_pressed_again(order, tmp_path):
    session = session_on(order, tmp_path)
    session.spoil("scorched", replaced=False)
    session.press()
    session.skip("later")
    with pytest.raises(Refusal, match="unfinished"):
        taken_over_of(tmp_path, order, True)
    session.press()
    _, left, done = taken_over_of(tmp_path, order, True)
    assert [piece.id for piece in left.pieces] == ["2-1", "3-1"]
    assert done.acts == ()


def test_a_run_left_under_the_press_says_first_whether_it_was_closed(order, tmp_path):
    session = session_on(order, tmp_path)
    session.step(Step.PRESS)
    with pytest.raises(Refusal, match=r"2-1, navy, M, left chest: crest: was it pressed\?"):
        taken_over_of(tmp_path, order, False)


def test_a_run_left_with_a_carrier_on_is_peeled_first(order, tmp_path):
    session = session_on(order, tmp_path)
    session.put_aside(60.0)
    with pytest.raises(Refusal, match=r"Pressed and not peeled: 2-1\. Go on with the run"):
        taken_over_of(tmp_path, order, False)
    session.jump(0, Step.PEEL)
    session.press()
    _, _, done = taken_over_of(tmp_path, order, False)
    assert [act.imprint for act in done.acts] == ["2-1/1"]


def test_without_an_earlier_run_there_is_nothing_to_go_by(order, tmp_path):
    with pytest.raises(Refusal, match="no earlier run"):
        taken_over_of(tmp_path, order, False)
