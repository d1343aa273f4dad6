"""How fast visits are planned, and how well: ``python -m tests.visits_speed``.

Districts made from a plan that can be kept (:mod:`tests.visits.planted`): 480 visits of 3 agents
and 6,000 of 30, over 8 weeks. Each is planned in a process of its own with two processes beside;
what is left out and the time on the road stand beside those of the planted plan and of one that
goes to the nearest visit first. Fails where a limit is missed. ``python -m tests.visits_speed
NUMBER`` plans one district alone.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from typing import NamedTuple

import pandas as pd

from districtplan.visits import schedule
from districtplan.visits.nearest import nearest_first
from districtplan.visits.timetable import timetable
from tests.benchmark import CALIBRATION
from tests.visits.checker import faults
from tests.visits.planted import LARGE, SMALL, Size, planted

SPARE_S = 2_700
"""What the planted plan leaves of each day of seven hours."""
PLANTED_MOST, NEAREST_MOST = 1.02, 0.85
"""Most of the planted plan's time on the road, and of that of nearest first."""


class District(NamedTuple):
    """A size, a seed, and the most it may take."""

    size: Size
    seed: int
    seconds: float
    gigabytes: float


DISTRICTS = (
    District(SMALL, 1, 60, 1),
    District(SMALL, 2, 60, 1),
    District(SMALL, 3, 60, 1),
    District(LARGE, 1, 180, 1),
    District(LARGE, 2, 180, 1),
    District(LARGE, 3, 180, 1),
)


def told(district: District) -> tuple[str, list[str]]:
    """Plan, and say what came of it and which limits it misses."""
    made = planted(district.size, district.seed, SPARE_S)
    begun = time.perf_counter()
    found = schedule(made.task)
    seconds = time.perf_counter() - begun
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    # The two processes beside this one are about as large as the larger of them.
    memory = (used[0].ru_maxrss + 2 * used[1].ru_maxrss) / 1e6
    worked = sum(one.ru_utime + one.ru_stime for one in used)
    rows, before = timetable(made.task, found.days), timetable(made.task, made.days)
    near = timetable(made.task, nearest_first(made.task, found.agent_of))
    to_planted = road(rows) / road(before)
    each = (road(rows) / visits(rows)) / (road(near) / visits(near))
    missed = {
        f"{len(found.dropped)} left out": bool(found.dropped),
        "the plan can't be kept": bool(faults(made.task, rows, found.dropped)),
        "more than the planted plan": to_planted > PLANTED_MOST,
        "too near to nearest first": each > NEAREST_MOST,
        "too slow": seconds > district.seconds,
        "too large": memory > district.gigabytes,
    }
    text = (
        f"{len(made.task.visits):,} visits, {district.size.agents} agents, seed {district.seed}: "
        f"{len(found.dropped)} left out, {to_planted:.3f} of the planted time on the road; nearest "
        f"first leaves out {len(made.task.visits) - visits(near)}, a visit takes {each:.3f} of its "
        f"way, all together {road(rows) / road(near):.3f}; {seconds:.0f} s ({worked:.0f} s of "
        f"processors), {memory:.2f} GB"
    )
    return text, [name for name, is_missed in missed.items() if is_missed]


def road(rows: pd.DataFrame) -> int:
    """Add up the time on the road."""
    return int(rows["travel_s"].sum())


def visits(rows: pd.DataFrame) -> int:
    """Count visits."""
    return int((rows["visit"] >= 0).sum())


def main() -> int:
    """Plan each district."""
    if sys.argv[1:]:
        text, missed = told(DISTRICTS[int(sys.argv[1])])
        print(text, *missed, sep="; MISSED: ", flush=True)  # noqa: T201 - this script's result
        return len(missed)
    start = time.perf_counter()
    subprocess.run([sys.executable, "-c", CALIBRATION], check=True)
    print(f"calibration {time.perf_counter() - start:.1f} s", flush=True)  # noqa: T201
    return sum(
        subprocess.run(
            [sys.executable, "-m", "tests.visits_speed", str(number)], check=False
        ).returncode
        for number in range(len(DISTRICTS))
    )


if __name__ == "__main__":
    sys.exit(main())
