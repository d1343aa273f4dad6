"""Who visits which plot on which day."""

from __future__ import annotations

from districtplan.visits.route import Effort
from districtplan.visits.schedule import Schedule, schedule
from districtplan.visits.task import ANYONE, Crew, Shifts, Task, Visits, Ways

__all__ = ["ANYONE", "Crew", "Effort", "Schedule", "Shifts", "Task", "Visits", "Ways", "schedule"]
