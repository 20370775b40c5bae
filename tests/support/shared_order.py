"""An order in a queue, for tests and benchmarks of several presses."""

from chalkbeam.orders.order_of_work import plan
from chalkbeam.presses import claims
from chalkbeam.presses.beginning import add_run
from chalkbeam.presses.lots import lots_of
from chalkbeam.record import snapshot
from chalkbeam.record.events import new_id
from tests.support.random_orders import random_order


def a_heading(**changes):
    """Return what the queue keeps of an order."""
    heading = {
        "id": new_id(), "key": new_id(), "title": "Regatta", "sheet": "order.csv", "digest": "0",
        "earlier": None, "begun": "2026-11-27T08:00:00+00:00", "work": "{}",
    }  # fmt: skip
    return heading | changes


def share(queue, count=12, seed=1, most=48, **changes):
    """Put a random order into a queue; return its id and its stops."""
    stops = plan(random_order(seed, count)).stops
    heading = a_heading(work=snapshot.dump(stops, 0.0, 0.0), **changes)
    run = queue.transact(lambda c: add_run(c, heading, lots_of(stops, most)))
    return run, stops


def enter(queue, name, at_hand=None, machine="here"):
    """Put a press on the queue's list; return its id."""
    own = new_id()
    wish = claims.Wish(at_hand)
    queue.transact(lambda c: claims.enter(c, own, name, machine, wish))
    return own
