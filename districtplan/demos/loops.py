"""The loops of the search and of its bound, compiled by numba.

Imported where a search starts: numba takes a second. What a step costs is counted in links looked
at, so that a search ends by work done and never by the clock.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from districtplan.compiled import compiled

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from districtplan.demos.reach import Reach
    from districtplan.demos.rules import Table

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]
    Whole = int | np.signedinteger[Any]

HAIR = 1e-6
"""What a sum may be off by rounding."""
WORSE = 1e-3
"""Share by which a choice may be worse than the one before and still be gone on from, at first."""
RANDOM = (48_271, 2_147_483_647)
"""Factor and modulus of the minimal standard generator of random numbers."""
TRIES = 100
"""Draws of an exchange that keeps to the rules before a kick gives up."""
IDLE_MAX = 200
"""Kicks in a row, for each site chosen, that better nothing before the search gives up."""
KICK = 4
"""Exchanges at random from which a new descent starts."""


class Net(NamedTuple):
    """Links and rules, from both ends; starts as one list, each with one past the last."""

    weight: Floats
    first: Ints
    site: Ints
    site_first: Ints
    row: Ints
    rule_first: Ints
    rule: Ints
    amount: Floats
    low: Floats
    high: Floats
    price: Floats

    @classmethod
    def of(cls, reach: Reach, table: Table, price: Floats) -> Net:
        """Put them together; greedy goes by gain for the price.

        Parameters
        ----------
        reach : Reach
            Who reaches whom.
        table : Table
            The rules.
        price : numpy.ndarray
            What each site takes of the budget, above 0, shape (sites,).

        Returns
        -------
        Net
            The same, as the loops need it.
        """
        site_first, row = reach.by_site()
        turned = table.amounts.T.tocsr()
        return cls(
            reach.weight,
            reach.first,
            reach.site,
            site_first,
            row,
            turned.indptr.astype(np.int64),
            turned.indices.astype(np.int64),
            turned.data,
            table.low,
            table.high,
            price,
        )


class State(NamedTuple):
    """A choice, and what each site adds to it or would take from it."""

    chosen: Bools
    reached: Ints
    """Sites chosen that reach each row."""
    gain: Floats
    """Weight that only this site reaches or, where it isn't chosen, would add."""
    held: Floats
    """Sum of each rule."""
    work: Ints
    """Links looked at, one number."""
    stale: Bools
    """Sites near which something changed since an exchange for them was last looked for."""
    drawn: Ints
    """The last number drawn at random, from 1."""

    @classmethod
    def of(cls, net: Net, chosen: Ints, seed: int = 1) -> State:
        """Choose some sites.

        Parameters
        ----------
        net : Net
            Links and rules.
        chosen : numpy.ndarray
            Sites by number.
        seed : int, default 1
            Where numbers at random start, at least 1.

        Returns
        -------
        State
            What they reach.
        """
        sites = len(net.site_first) - 1
        weight = net.weight[net.row]
        sums = np.concatenate([[0.0], np.cumsum(weight)])[net.site_first]
        gain = np.diff(sums) if len(weight) else np.zeros(sites)
        state = cls(
            np.zeros(sites, np.bool_),
            np.zeros(len(net.weight), np.int64),
            gain,
            np.zeros(len(net.low)),
            np.zeros(1, np.int64),
            np.ones(sites, np.bool_),
            np.full(1, seed, np.int64),
        )
        for site in chosen:
            _flip(net, state, site)
        state.work[0] = 0
        return state


@compiled
def _flip(net: Net, state: State, site: Whole) -> None:
    """Take a site in or out."""
    taken = not state.chosen[site]
    state.chosen[site] = taken
    for at in range(net.rule_first[site], net.rule_first[site + 1]):
        state.held[net.rule[at]] += net.amount[at] if taken else -net.amount[at]
    # What changes is the gain of others, where this was or becomes the first or the second.
    others = 0 if taken else 1
    for at in range(net.site_first[site], net.site_first[site + 1]):
        row = net.row[at]
        before = state.reached[row]
        state.reached[row] = before + (1 if taken else -1)
        begin, end = net.first[row], net.first[row + 1]
        weight = -net.weight[row] if taken else net.weight[row]
        if before == others:
            state.work[0] += end - begin
            for link in range(begin, end):
                if net.site[link] != site:
                    state.gain[net.site[link]] += weight
        elif before == others + 1:
            state.work[0] += end - begin
            for link in range(begin, end):
                if state.chosen[net.site[link]] and net.site[link] != site:
                    state.gain[net.site[link]] += weight


@compiled
def _broken(net: Net, state: State, site: Whole) -> int:
    """Count the rules of a site that are broken now."""
    count = 0
    for at in range(net.rule_first[site], net.rule_first[site + 1]):
        rule = net.rule[at]
        held = state.held[rule]
        count += held < net.low[rule] - HAIR or held > net.high[rule] + HAIR
    return count


@compiled
def _mends(net: Net, state: State, site: int, wanted: int) -> bool:
    """Say whether taking a site in breaks no rule and mends as many as are wanted."""
    mended = 0
    for at in range(net.rule_first[site], net.rule_first[site + 1]):
        rule = net.rule[at]
        held = state.held[rule]
        after = held + net.amount[at]
        if after < net.low[rule] - HAIR or after > net.high[rule] + HAIR:
            return False
        mended += held < net.low[rule] - HAIR or held > net.high[rule] + HAIR
    return mended >= wanted


@compiled
def _fits(net: Net, state: State, site: int) -> bool:
    """Say whether a site can still be taken in without too much of anything."""
    for at in range(net.rule_first[site], net.rule_first[site + 1]):
        rule = net.rule[at]
        if net.amount[at] > 0 and state.held[rule] + net.amount[at] > net.high[rule] + HAIR:
            return False
    return True


@compiled
def greedy(net: Net, state: State) -> Ints:
    """Take the site that adds most for its price, the first of equals, until none adds.

    Parameters
    ----------
    net : Net
        Links and rules.
    state : State
        The choice.

    Returns
    -------
    numpy.ndarray
        Sites by number, in the order taken.
    """
    order = []
    while True:
        best, most = -1, 0.0
        for site in range(len(state.gain)):
            worth = state.gain[site] / net.price[site]
            if worth > most and not state.chosen[site] and _fits(net, state, site):
                best, most = site, worth
        if best < 0:
            break
        _flip(net, state, best)
        order.append(best)
    return np.array(order, dtype=np.int64)


@compiled
def _best_for(net: Net, state: State, least: float, wanted: int) -> int:
    """Find the site that adds most, more than some least, and mends so many rules."""
    best, most = -1, least
    state.work[0] += len(state.gain)
    for site in range(len(state.gain)):
        if state.gain[site] > most and not state.chosen[site] and _mends(net, state, site, wanted):
            best, most = site, state.gain[site]
    return best


@compiled
def _mark(net: Net, state: State, site: Whole) -> None:
    """Say of all sites that reach some of the same that something changed."""
    for at in range(net.site_first[site], net.site_first[site + 1]):
        row = net.row[at]
        state.work[0] += net.first[row + 1] - net.first[row]
        for link in range(net.first[row], net.first[row + 1]):
            state.stale[net.site[link]] = True


@compiled
def _descend(net: Net, state: State, most_work: int) -> None:
    """Exchange one site for a better one, and add what fits, until nothing is gained."""
    changed = True
    while changed and state.work[0] < most_work:
        changed = False
        into = _best_for(net, state, HAIR, 0)
        while into >= 0:
            _flip(net, state, into)
            _mark(net, state, into)
            changed = True
            into = _best_for(net, state, HAIR, 0)
        for out in np.flatnonzero(state.chosen & state.stale):
            lost = state.gain[out]
            state.stale[out] = False
            _flip(net, state, out)
            into = _best_for(net, state, lost + HAIR, _broken(net, state, out))
            _flip(net, state, into if into >= 0 else out)
            if into >= 0:
                changed = True
                _mark(net, state, out)
                _mark(net, state, into)


@compiled
def _draw(state: State, count: int) -> int:
    """Draw a number from 0 below a count, by the minimal standard generator."""
    state.drawn[0] = state.drawn[0] * RANDOM[0] % RANDOM[1]
    return int(state.drawn[0] % count)


@compiled
def _neighbour(net: Net, state: State, site: Whole) -> int:
    """Draw a site that reaches some of the same, or the site itself."""
    begin, end = net.site_first[site], net.site_first[site + 1]
    if begin == end:
        return int(site)
    row = net.row[begin + _draw(state, end - begin)]
    begin, end = net.first[row], net.first[row + 1]
    return int(net.site[begin + _draw(state, end - begin)])


@compiled
def _kick(net: Net, state: State, wide: int) -> None:
    """Exchange a few sites at random, of one neighbourhood or from all over, for others nearby."""
    chosen = np.flatnonzero(state.chosen)
    out = chosen[_draw(state, len(chosen))]
    for _ in range(KICK):
        for _ in range(TRIES):
            into = _neighbour(net, state, out)
            state.work[0] += KICK
            if state.chosen[into]:
                continue
            _flip(net, state, out)
            if _mends(net, state, into, _broken(net, state, out)):
                _flip(net, state, into)
                _mark(net, state, out)
                _mark(net, state, into)
                break
            _flip(net, state, out)
        for _ in range(TRIES):
            beside = _neighbour(net, state, _neighbour(net, state, out))
            if state.chosen[beside]:
                out = beside
                break
        if wide or not state.chosen[out]:
            chosen = np.flatnonzero(state.chosen)
            out = chosen[_draw(state, len(chosen))]


@compiled
def _to(net: Net, state: State, chosen: Bools) -> None:
    """Go to a choice."""
    for site in np.flatnonzero(state.chosen != chosen):
        _flip(net, state, site)


@compiled
def search(net: Net, state: State, most_work: int) -> None:
    """Descend, kick, descend again; what is a little worse is gone on from, less and less so.

    Parameters
    ----------
    net : Net
        Links and rules.
    state : State
        The choice.
    most_work : int
        Links to look at.
    """
    _descend(net, state, most_work)
    best, here = state.chosen.copy(), state.chosen.copy()
    value = now = net.weight[state.reached > 0].sum()
    idle = 0
    while state.work[0] < most_work and idle < IDLE_MAX * best.sum():
        state.stale[:] = False
        _kick(net, state, idle % 2)
        _descend(net, state, most_work)
        found = net.weight[state.reached > 0].sum()
        state.work[0] += len(net.weight)
        idle += 1
        if found > value + HAIR:
            # Elsewhere too something may now be gained.
            state.stale[:] = True
            _descend(net, state, most_work)
            found = value = net.weight[state.reached > 0].sum()
            best[:] = state.chosen
            idle = 0
        if found >= now - WORSE * value * (1 - state.work[0] / most_work):
            now = found
            here[:] = state.chosen
        else:
            _to(net, state, here)
    _to(net, state, best)


@compiled
def earliest(net: Net, state: State) -> None:
    """Exchange a site for an earlier one that adds as much, until none is left.

    Parameters
    ----------
    net : Net
        Links and rules.
    state : State
        The choice.
    """
    changed = True
    while changed:
        changed = False
        for out in np.flatnonzero(state.chosen)[::-1]:
            lost = state.gain[out]
            _flip(net, state, out)
            wanted = _broken(net, state, out)
            into = out
            for site in range(out):
                same = state.gain[site] >= lost - HAIR and not state.chosen[site]
                if same and _mends(net, state, site, wanted):
                    into = site
                    break
            _flip(net, state, into)
            changed |= into != out


@compiled
def site_sums(first: Ints, site: Ints, price: Floats, sums: Floats) -> None:
    """Sum the prices of the rows that each site reaches.

    Parameters
    ----------
    first : numpy.ndarray
        Where the sites of each row begin, and one past the last, shape (rows + 1,).
    site : numpy.ndarray
        Sites by number, shape (links,).
    price : numpy.ndarray
        Price of each row, shape (rows,).
    sums : numpy.ndarray
        Where the sums are put, shape (sites,).
    """
    sums[:] = 0
    for row in range(len(first) - 1):
        for link in range(first[row], first[row + 1]):
            sums[site[link]] += price[row]


@compiled
def row_sums(first: Ints, site: Ints, share: Floats, sums: Floats) -> None:
    """Sum the shares of the sites that reach each row.

    Parameters
    ----------
    first : numpy.ndarray
        Where the sites of each row begin, and one past the last, shape (rows + 1,).
    site : numpy.ndarray
        Sites by number, shape (links,).
    share : numpy.ndarray
        Share of each site, shape (sites,).
    sums : numpy.ndarray
        Where the sums are put, shape (rows,).
    """
    for row in range(len(first) - 1):
        total = 0.0
        for link in range(first[row], first[row + 1]):
            total += share[site[link]]
        sums[row] = total
