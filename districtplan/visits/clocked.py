"""One agent's day, timed stop by stop."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Sequence

    from districtplan.visits.task import Task


class Timed(NamedTuple):
    """A day as it goes.

    Attributes
    ----------
    leaves : int
        When the base is left: as late as nothing ends later for it [s].
    arrives, begins : tuple[int, ...]
        When each stop is reached, and when work begins there [s].
    returns : int
        When the base is reached again [s].
    travel : tuple[int, ...]
        What each way takes, from the base, between stops, and home [s].
    metres : tuple[int, ...]
        The same ways [m].
    """

    leaves: int
    arrives: tuple[int, ...]
    begins: tuple[int, ...]
    returns: int
    travel: tuple[int, ...]
    metres: tuple[int, ...]


def timed(task: Task, shift: int, order: Sequence[int]) -> Timed | None:
    """Time a day.

    Parameters
    ----------
    task : Task
        What is planned.
    shift : int
        Number of the day.
    order : Sequence[int]
        Visits by number, in the order in which they are made; at least one.

    Returns
    -------
    Timed | None
        The day; None where it can't be kept: a window, the hours or the load.
    """
    visits, shifts = task.visits, task.shifts
    agent = shifts.agent[shift]
    stops = list(order)
    if int(visits.load[stops].sum()) > shifts.carries[shift]:
        return None
    base, mode = task.crew.base[agent], task.crew.mode[agent]
    places = [base, *visits.place[stops], base]
    travel = task.ways.seconds[mode][places[:-1], places[1:]].tolist()
    opens, closes, service = (
        part[stops].tolist() for part in (visits.opens, visits.closes, visits.service)
    )
    early = [int(shifts.leaves[shift])]
    for stop in range(len(stops)):
        begins = max(early[-1] + travel[stop], opens[stop])
        if begins > closes[stop]:
            return None
        early.append(begins + service[stop])
    home = early[-1] + travel[-1]
    # Backward from the earliest end, so that nobody waits where a later start would do.
    late = home
    for stop in reversed(range(len(stops))):
        late = min(late - travel[stop + 1] - service[stop], closes[stop])
    leaves = late - travel[0]
    if home > shifts.returns[shift] or home - leaves > shifts.longest[shift]:
        return None
    arrives, begins_at, now = [], [], leaves
    for stop in range(len(stops)):
        arrives.append(now + travel[stop])
        begins_at.append(max(arrives[-1], opens[stop]))
        now = begins_at[-1] + service[stop]
    metres = task.ways.metres[mode][places[:-1], places[1:]].tolist()
    return Timed(leaves, tuple(arrives), tuple(begins_at), home, tuple(travel), tuple(metres))
