"""The weighted least squares with limits by which one axis is placed."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from chalkbeam.placement.balance import Term, balance, hard_range

places = st.floats(-500, 500)


weights = st.floats(0.1, 1000)


@pytest.mark.slow
@given(
    targets=st.lists(st.tuples(places, weights), min_size=1, max_size=4),
    limits=st.lists(
        st.tuples(places, weights, st.sampled_from(["at_least", "at_most"])), max_size=4
    ),
    room=st.tuples(places, places),
)
def test_balance_is_the_least_squares_minimum(targets, limits, room):
    # Outside reference: scipy.optimize.minimize_scalar (bounded Brent) on the same cost.
    low, high = sorted(room)
    terms = [Term(at, "target", weight) for at, weight in targets]
    terms += [Term(at, kind, weight) for at, weight, kind in limits]
    terms += [Term(low, "at_least", hard=True), Term(high, "at_most", hard=True)]

    def cost(position):
        misses = [
            t.weight * (position - t.at) ** 2 for t in terms if not t.hard and t.counts_at(position)
        ]
        return sum(misses)

    found = balance(terms)
    assert low <= found <= high
    reference = minimize_scalar(
        cost, bounds=(low, high + 1e-9), method="bounded", options={"xatol": 1e-7}
    )
    assert cost(found) <= reference.fun * (1 + 1e-9) + 1e-6


def test_balance_by_hand():
    # Two targets 0 and 10, weights 1 and 3: weighted mean 7.5. A soft limit "at most 5" of
    # weight 4 then pulls: (0*1 + 10*3 + 5*4) / 8 = 6.25.
    terms = [Term(0, "target", 1), Term(10, "target", 3)]
    assert balance(terms) == 7.5
    assert balance([*terms, Term(5, "at_most", 4)]) == 6.25
    assert balance([*terms, Term(9, "at_most", 4)]) == 7.5
    assert balance([*terms, Term(6, "at_most", hard=True)]) == 6
    assert hard_range([Term(6, "at_most", hard=True)]) == (-math.inf, 6)


def test_balance_where_limits_pull_from_both_sides():
    # By hand: a floor at 10 and a ceiling at 4, each of weight 1, and a target at 0 of weight 1.
    # Between them all three pull: (0 + 10 + 4) / 3 = 14/3. With the ceiling's weight 3 the slope
    # at 4 is 4 - 6 = -2, so that the minimum still lies between: (0 + 10 + 12) / 5 = 4.4.
    target, floor = Term(0, "target"), Term(10, "at_least")
    assert balance([target, floor, Term(4, "at_most")]) == pytest.approx(14 / 3)
    assert balance([target, floor, Term(4, "at_most", 3)]) == pytest.approx(4.4)
    # Heavier than all: at 4 the slope is 4 - 2 = 2 with a floor at 6, and the ceiling sleeps.
    assert balance([target, Term(6, "at_least"), Term(4, "at_most", 9)]) == pytest.approx(3.0)
    # A floor pulls below itself however gently the cost rises at it: (0 + 3) / 2.
    assert balance([target, Term(3, "at_least")]) == pytest.approx(1.5)
    assert balance([target, Term(-3, "at_most")]) == pytest.approx(-1.5)
