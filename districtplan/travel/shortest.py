"""Least costs from some points of a network to all of it, by Dijkstra's rule."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from districtplan.compiled import compiled

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]


class Network(NamedTuple):
    """Steps between nodes, by the node that they lead from.

    Attributes
    ----------
    first : numpy.ndarray
        Where the steps of each node begin, and one past the last, shape (nodes + 1,).
    to : numpy.ndarray
        Node that a step leads to, shape (steps,).
    cost : numpy.ndarray
        What it takes, above 0, shape (steps,).
    """

    first: Ints
    to: Ints
    cost: Floats

    @classmethod
    def of(cls, nodes: int, start: Ints, to: Ints, cost: Floats) -> Network:
        """Order steps.

        Parameters
        ----------
        nodes : int
            How many nodes there are.
        start, to : numpy.ndarray
            Nodes by number, shape (steps,).
        cost : numpy.ndarray
            What each step takes, shape (steps,).

        Returns
        -------
        Network
            The steps.
        """
        order = np.argsort(start, kind="stable")
        count = np.bincount(start, minlength=nodes)
        first = np.concatenate([[0], np.cumsum(count)]).astype(np.int64)
        return cls(first, to[order], cost[order])


@compiled
def _rise(key: Floats, item: Ints, place: int) -> None:
    """Let what is cheaper rise in the heap."""
    while place > 0:
        above = (place - 1) // 2
        if key[above] <= key[place]:
            break
        key[above], key[place] = key[place], key[above]
        item[above], item[place] = item[place], item[above]
        place = above


@compiled
def _sink(key: Floats, item: Ints, size: int) -> None:
    """Let what is dearer sink from the top of the heap."""
    place = 0
    while 2 * place + 1 < size:
        below = 2 * place + 1
        if below + 1 < size and key[below + 1] < key[below]:
            below += 1
        if key[place] <= key[below]:
            break
        key[below], key[place] = key[place], key[below]
        item[below], item[place] = item[place], item[below]
        place = below


@compiled
def spread(network: Network, nodes: Ints, already: Floats, most: float) -> Floats:
    """Find what it takes to reach each node from the nearest of some.

    Parameters
    ----------
    network : Network
        The steps.
    nodes : numpy.ndarray
        Where to start, shape (starts,).
    already : numpy.ndarray
        What it took to get there, shape (starts,).
    most : float
        Costs of interest.

    Returns
    -------
    numpy.ndarray
        Least cost of each node, infinite beyond the most, shape (nodes,).
    """
    found = np.full(len(network.first) - 1, np.inf)
    key = np.empty(len(network.to) + len(nodes))
    item = np.empty(len(key), np.int64)
    size = 0
    for place in range(len(nodes)):
        if already[place] < found[nodes[place]] and already[place] <= most:
            found[nodes[place]] = already[place]
            key[size], item[size] = already[place], nodes[place]
            _rise(key, item, size)
            size += 1
    while size > 0:
        cost, node = key[0], item[0]
        size -= 1
        key[0], item[0] = key[size], item[size]
        _sink(key, item, size)
        if cost > found[node]:
            continue
        for step in range(network.first[node], network.first[node + 1]):
            other, then = network.to[step], cost + network.cost[step]
            if then < found[other] and then <= most:
                found[other] = then
                key[size], item[size] = then, other
                _rise(key, item, size)
                size += 1
    return found
