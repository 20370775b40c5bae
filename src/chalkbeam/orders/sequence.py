"""The cheapest path through groups of work: exact for few, improved step by step for many.

A *state* is what can change between imprints: platen, pad, stack of transfer sheets, pile
of garments. The cost between two states is a weighted Hamming distance, hence a metric.
"""

from __future__ import annotations

import itertools
from collections.abc import Collection, Sequence

import numpy as np
from numpy.typing import NDArray

from chalkbeam.orders.times import Times

State = tuple[str, str, str, str]
"""Platen, pad, stack, pile."""

Ends = tuple[State, State]
"""The state a group of visits is entered in, and the one it is left in."""

EXACT_UP_TO = 12
"""Groups up to which the path is exact: 2^12 × 12² steps take about a tenth of a second."""

IMPROVED_UP_TO = 250
"""Groups up to which exchanges are tried; beyond, sorting alone keeps planning linear."""


def _weights(times: Times) -> tuple[float, float, float, float]:
    return (times.platen, times.pad, times.stack, times.pile)


def step_cost(before: State, after: State, times: Times) -> float:
    """Return the seconds for what changes from one state to the other, without threading."""
    return sum(
        weight for weight, a, b in zip(_weights(times), before, after, strict=True) if a != b
    )


def _matrix(leave: Sequence[State], enter: Sequence[State], times: Times) -> NDArray[np.float64]:
    """Return the costs from each state of `leave` to each of `enter`, shape (N, M)."""
    cost = np.zeros((len(leave), len(enter)))
    for place, weight in enumerate(_weights(times)):
        codes = {name: code for code, name in enumerate({s[place] for s in (*leave, *enter)})}
        a = np.array([codes[state[place]] for state in leave])
        b = np.array([codes[state[place]] for state in enter])
        cost += weight * (a[:, None] != b[None, :])
    return cost


def shortest_path(
    ends: Sequence[Ends], times: Times, start: State | None = None, thorough: bool = True
) -> tuple[list[int], float]:
    """Return an order of the groups and what the changes between them cost.

    Parameters
    ----------
    ends : sequence of (enter, leave)
        Each group's states.
    start : State, optional
        What is on the press before; free without.
    thorough : bool
        False to rank choices quickly: sorted, not improved.

    Returns
    -------
    (list of int, float)
        Exact for up to `EXACT_UP_TO` groups if `thorough`.
    """
    count = len(ends)
    if count == 0:
        return [], 0.0
    enter, leave = [end[0] for end in ends], [end[1] for end in ends]
    first = np.array([step_cost(start, state, times) if start else 0.0 for state in enter])
    if thorough and count <= EXACT_UP_TO:
        return _exact(_matrix(leave, enter, times), first)
    path = _sorted(ends, times, start)
    if thorough and count <= IMPROVED_UP_TO:
        # A dummy group 0 in front stands for the start; nothing may go before it.
        cost = np.zeros((count + 1, count + 1))
        cost[1:, 1:] = _matrix(leave, enter, times)
        cost[0, 1:] = first
        improved = _improve([0, *(index + 1 for index in path)], cost)
        path = [index - 1 for index in improved[1:]]
    price = float(first[path[0]])
    price += sum(step_cost(leave[a], enter[b], times) for a, b in itertools.pairwise(path))
    return path, price


def _sorted(ends: Sequence[Ends], times: Times, start: State | None) -> list[int]:
    """Return the groups nested by their costliest attribute, neighbours agreeing where they can.

    At each level the block that shares the value just left comes first, so that a change
    of platen need not also change the stack.
    """
    places = sorted(range(4), key=lambda place: -_weights(times)[place])
    path: list[int] = []
    at = start

    def nest(indices: list[int], level: int) -> None:
        nonlocal at
        if level == 4 or len(indices) == 1:
            path.extend(indices)
            at = ends[indices[-1]][1]
            return
        place = places[level]
        parts: dict[str, list[int]] = {}
        for index in indices:
            parts.setdefault(ends[index][0][place], []).append(index)
        here = at[place] if at else None
        if here in parts:
            nest(parts.pop(here), level + 1)
        for part in parts.values():
            nest(part, level + 1)

    nest(list(range(len(ends))), 0)
    return path


def _exact(cost: NDArray[np.float64], first: NDArray[np.float64]) -> tuple[list[int], float]:
    """Return the cheapest open path by dynamic programming over subsets (Held & Karp, 1962)."""
    count = len(first)
    best = np.full((1 << count, count), np.inf)
    came = np.zeros((1 << count, count), dtype=np.int64)
    for group in range(count):
        best[1 << group, group] = first[group]
    for subset in range(1, 1 << count):
        arrive = best[subset][:, None] + cost
        previous = np.argmin(arrive, axis=0)
        value = arrive[previous, np.arange(count)]
        for group in range(count):
            bigger = subset | 1 << group
            if bigger != subset and value[group] < best[bigger, group]:
                best[bigger, group] = value[group]
                came[bigger, group] = previous[group]
    subset = (1 << count) - 1
    group = int(np.argmin(best[subset]))
    price = float(best[subset, group])
    path = [group]
    while subset != 1 << group:
        subset, group = subset ^ (1 << group), int(came[subset, group])
        path.append(group)
    return path[::-1], price


def _improve(path: list[int], cost: NDArray[np.float64]) -> list[int]:
    """Return the path after the best 2-opt reversals and moves of single groups, first fixed."""
    order = np.array(path)
    for _ in range(4 * len(path)):
        gain, changed = max((_reversal(order, cost), _move(order, cost)), key=lambda g: g[0])
        if gain <= 1e-9:
            break
        order = changed
    return [int(index) for index in order]


def _reversal(
    order: NDArray[np.int64], cost: NDArray[np.float64]
) -> tuple[float, NDArray[np.int64]]:
    """Return the best gain by reversing order[i..j], 1 ≤ i < j; arcs may differ by direction."""
    count = len(order)
    arcs = cost[np.ix_(order, order)]
    forward = np.concatenate([[0.0], np.cumsum(np.diagonal(arcs, 1))])
    backward = np.concatenate([[0.0], np.cumsum(np.diagonal(arcs, -1))])
    i, j = np.triu_indices(count, 1)
    i, j = i[i > 0], j[i > 0]
    if not len(i):
        return 0.0, order
    after = np.minimum(j + 1, count - 1)
    open_end = j + 1 == count
    old = arcs[i - 1, i] + (forward[j] - forward[i]) + np.where(open_end, 0.0, arcs[j, after])
    new = arcs[i - 1, j] + (backward[j] - backward[i]) + np.where(open_end, 0.0, arcs[i, after])
    best = int(np.argmax(old - new))
    a, b = i[best], j[best]
    turned = np.concatenate([order[:a], order[a : b + 1][::-1], order[b + 1 :]])
    return float((old - new)[best]), turned


def _move(order: NDArray[np.int64], cost: NDArray[np.float64]) -> tuple[float, NDArray[np.int64]]:
    """Return the best gain by taking one group out and putting it in elsewhere."""
    count = len(order)
    if count < 4:
        return 0.0, order
    arcs = cost[np.ix_(order, order)]
    here = np.arange(1, count)
    following = np.minimum(here + 1, count - 1)
    last = here + 1 == count
    taken = arcs[here - 1, here] + np.where(
        last, 0.0, arcs[here, following] - arcs[here - 1, following]
    )
    gap = np.arange(count)  # put in between gap and gap + 1
    next_gap = np.minimum(gap + 1, count - 1)
    end = gap + 1 == count
    put = arcs[gap[None, :], here[:, None]] + np.where(
        end[None, :], 0.0, arcs[here[:, None], next_gap[None, :]] - arcs[gap, next_gap][None, :]
    )
    gain = taken[:, None] - put
    gain[here[:, None] == gap[None, :]] = -np.inf
    gain[here[:, None] - 1 == gap[None, :]] = -np.inf
    best = int(np.argmax(gain))
    which, where = int(here[best // count]), best % count
    without = np.delete(order, which)
    place = where + 1 if where < which else where
    return float(gain.flat[best]), np.insert(without, place, order[which])


def spanning_weight(states: Collection[State], times: Times) -> float:
    """Return a weight no path through the states goes below.

    The minimum spanning tree (Prim) for up to 2000 states; beyond, the sum over the
    attributes of their distinct values less one, which is never more.
    """
    points = list(states)
    if not points:
        return 0.0
    if len(points) > 2000:
        return sum(
            weight * (len({point[place] for point in points}) - 1)
            for place, weight in enumerate(_weights(times))
        )
    cost = _matrix(points, points, times)
    nearest = cost[0].copy()
    weight = 0.0
    inside = np.zeros(len(points), dtype=bool)
    inside[0] = True
    for _ in range(len(points) - 1):
        outside = np.where(inside, np.inf, nearest)
        pick = int(np.argmin(outside))
        weight += float(outside[pick])
        inside[pick] = True
        nearest = np.minimum(nearest, cost[pick])
    return weight
