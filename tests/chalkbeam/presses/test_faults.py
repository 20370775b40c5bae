"""What goes wrong at a queue: a sentence each, and nothing lost or counted twice.

SQLSTATE codes are those of PostgreSQL 15's manual, Appendix A, “PostgreSQL Error Codes”.
"""

import psycopg.errors
import pytest
import sqlalchemy as sa

from calibration.refusal import Refusal
from chalkbeam.presses import acts, claims, following
from chalkbeam.presses.acts import PressAct
from chalkbeam.presses.address import read_address
from chalkbeam.presses.board import board
from chalkbeam.presses.claims import Wish
from chalkbeam.presses.engine import Queue
from chalkbeam.presses.faults import Unreachable, queue_fault
from chalkbeam.record.events import new_id
from tests.support.postgres import MISSING, postgres, programs
from tests.support.shared_order import enter, share

SHOP = read_address("postgresql://chalk@shop-server/shop")


@pytest.mark.parametrize(
    ("state", "passes", "said"),
    [
        ("28P01", False, "name or the password"),
        ("3D000", False, "no such database"),
        ("42501", False, "may not use"),
        ("53100", True, "disk of the database “shop” on shop-server is full"),
        ("53300", True, "Too many programs"),
        ("57P01", True, "does not answer"),  # shut down by its administrator
        ("57P03", True, "does not answer"),  # just starting
        ("08006", True, "does not answer"),  # the connection broke
        ("40P01", True, "does not answer"),  # a deadlock that lasts
    ],
)
def test_what_a_server_says_becomes_a_sentence(state, passes, said):
    error = psycopg.errors.lookup(state)("as the server says it")
    refusal = queue_fault(SHOP, sa.exc.OperationalError("", {}, error))
    assert said in str(refusal)
    assert isinstance(refusal, Unreachable) is passes


@pytest.mark.proof
@pytest.mark.slow
def test_a_full_and_a_restarted_server():
    if programs() is None:
        pytest.skip(MISSING)
    with postgres(connections=5) as server:
        address = read_address(server.address)
        with Queue(address) as queue:
            run, _ = share(queue)
            left = enter(queue, "left")
            held = [psycopg.connect(server.address) for _ in range(4)]
            with pytest.raises(Unreachable, match="Too many programs"):
                Queue(address)
            for each in held:
                each.close()
            # Restarted in the middle: the answer is lost, the act is done again and counts once.
            done = [PressAct(1, new_id(), run, "noted", "", {}, {})]
            server.stop()
            with pytest.raises(Unreachable, match="does not answer"):
                queue.transact(lambda c: acts.push(c, left, done))
            server.start()
            assert queue.transact(lambda c: acts.push(c, left, done)) == 1
            assert queue.transact(lambda c: acts.push(c, left, done)) == 1


def test_a_clock_that_is_wrong_by_a_year_orders_nothing(address):
    """The later act bears the earlier date; what counts is who held the piece, and the numbers."""
    with Queue(address) as queue:
        run, _ = share(queue)
        left, right = enter(queue, "left"), enter(queue, "right")
        got = queue.transact(lambda c: claims.claim(c, left, new_id(), run, Wish()))
        imprint = f"{got.pieces[0]}/1"

        def act(number, kind, wall, **data):
            body = {"data": data, "wall": wall}
            return PressAct(number, new_id(), run, kind, imprint, data, body)

        first = act(1, "pressed", "2027-11-27T09:00:00+00:00")
        back = act(2, "undone", "2026-11-27T09:01:00+00:00", event=first.id)
        again = act(3, "pressed", "2025-11-27T09:02:00+00:00")
        queue.transact(lambda c: acts.push(c, left, [first, back]))
        assert imprint not in queue.transact(lambda c: following.look(c, right, run, {})).ended
        queue.transact(lambda c: acts.push(c, left, [again]))
        assert imprint in queue.transact(lambda c: following.look(c, right, run, {})).ended
        (order,) = queue.transact(board).orders
        assert order.pressed == 1


def test_an_address_of_a_file_that_cannot_be_is_told(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(Refusal, match="cannot be opened"):
        Queue(read_address(f"sqlite:///{tmp_path / 'nowhere' / 'queue.db'}"))
    (tmp_path / "text.db").write_text("no database at all, but long enough to be looked at" * 40)
    with pytest.raises(Refusal, match="is damaged"):
        Queue(read_address(f"sqlite:///{tmp_path / 'text.db'}"))
