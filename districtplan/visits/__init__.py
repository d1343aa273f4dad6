"""Who visits which plot on which day."""

from __future__ import annotations

from districtplan.visits.asked import (
    ROADS,
    About,
    effort,
    fixable,
    meetings,
    open_in_rains,
    plots,
    policy,
    require_lines,
    season_days,
    stage_table,
    wanted,
)
from districtplan.visits.assign import NOBODY
from districtplan.visits.build import ways_of
from districtplan.visits.dated import Dated, dated
from districtplan.visits.days import Hours, working_days
from districtplan.visits.given import (
    AGENTS,
    BY_HAND,
    CARRIED_ON,
    LEAVE,
    MEETING_PLACES,
    OBSERVED,
    TRIPS,
    Fixable,
    accept_agents,
    accept_by_hand,
    accept_carried_on,
    accept_leave,
    accept_meeting_places,
    accept_observed,
    accept_trips,
    near,
    require,
)
from districtplan.visits.route import Effort
from districtplan.visits.schedule import Schedule, schedule
from districtplan.visits.season import (
    Before,
    Help,
    Measured,
    Numbered,
    Season,
    before,
    numbered,
    plan,
    speeds,
)
from districtplan.visits.sessions import SESSION, Policy
from districtplan.visits.stages import TABLE as STAGES
from districtplan.visits.task import ANYONE, Crew, Shifts, Task, Visits, Ways
from districtplan.visits.told import COLUMNS, VisitPlan, told
from districtplan.visits.trips import calibrated, walked
from districtplan.visits.units import NO_PLOT, Ground, units, with_hand

__all__ = [
    "AGENTS",
    "ANYONE",
    "BY_HAND",
    "CARRIED_ON",
    "COLUMNS",
    "LEAVE",
    "MEETING_PLACES",
    "NOBODY",
    "NO_PLOT",
    "OBSERVED",
    "ROADS",
    "SESSION",
    "STAGES",
    "TRIPS",
    "About",
    "Before",
    "Crew",
    "Dated",
    "Effort",
    "Fixable",
    "Ground",
    "Help",
    "Hours",
    "Measured",
    "Numbered",
    "Policy",
    "Schedule",
    "Season",
    "Shifts",
    "Task",
    "VisitPlan",
    "Visits",
    "Ways",
    "accept_agents",
    "accept_by_hand",
    "accept_carried_on",
    "accept_leave",
    "accept_meeting_places",
    "accept_observed",
    "accept_trips",
    "before",
    "calibrated",
    "dated",
    "effort",
    "fixable",
    "meetings",
    "near",
    "numbered",
    "open_in_rains",
    "plan",
    "plots",
    "policy",
    "require",
    "require_lines",
    "schedule",
    "season_days",
    "speeds",
    "stage_table",
    "told",
    "units",
    "walked",
    "wanted",
    "ways_of",
    "with_hand",
    "working_days",
]
