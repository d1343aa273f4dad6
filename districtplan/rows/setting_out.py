"""How a team sets out one line: control pegs, legs, drops, bearings, steps without a compass, ties.

Pegs stand one string's length apart, measured straight from peg to peg as a string is stretched,
not along the curve. So what is printed can be walked: each leg is laid by its bearing, or without a
compass by laying the string on along the last leg and swinging its end sideways. With legs of
length s the end of a string that turns by θ moves by 2 s sin(θ/2); along an arc of radius R that is
exactly s²/R, and s²/2R from the tangent to the first leg.

What is printed is rounded, and rounding must not add up. A leg is a whole step but for the last,
to 0.1 m. Bearings are to half a degree: over 100 m the line then ends within
100 m x sin(0.25°) = 0.44 m of its end, where whole degrees could miss by 0.87 m. Sideways steps are
to a centimetre, and what one loses the next gives back, so that the direction of no leg is off by
more than half a centimetre at its end.

Drops are those of the design, grade x leg: never a difference of the raster's heights.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from districtplan import geodesy
from districtplan.rows.corner import tie

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd
    import shapely
    from numpy.typing import NDArray
    from pyproj import CRS

    from districtplan.handbook import Handbook
    from districtplan.plan import Plan
    from districtplan.rows.corner import Tie

    Floats = NDArray[np.float64]
    Integers = NDArray[np.int64]
    Outline = shapely.Polygon | shapely.MultiPolygon

TABLE = "setting_out"
PRINTED_DEG = 0.5
"""Bearings are printed to half a degree."""
PRINTED_DECIMALS = 1
"""Legs are printed to a tenth of a metre."""
NEAR_M = 1.0
"""A peg nearer than this to the line's end is left out: the end has its own [m]."""
TURN_DUST_DEG = 1e-6
"""A line that turns by the limit, but for rounding, keeps the longer step."""


@dataclass(frozen=True)
class Rules:
    """How lines are set out.

    Attributes
    ----------
    step_m : float
        From peg to peg [m].
    turn_max_deg : float
        Where the line turns by more over a step, pegs stand half a step apart [degrees].
    compass_error_deg : float
        Random error of a bearing as a team walks it, one standard deviation [degrees].
    leg_error_m : float
        Random error of a leg's length, one standard deviation [m].
    """

    step_m: float
    turn_max_deg: float
    compass_error_deg: float
    leg_error_m: float

    @classmethod
    def of(cls, plan: Plan, handbook: Handbook) -> Rules:
        """Take the rules of a plan.

        Parameters
        ----------
        plan : Plan
            What is wanted.
        handbook : Handbook
            The published tables.

        Returns
        -------
        Rules
            How lines are set out under it.
        """
        return cls(
            plan.rows.peg_step_m,
            *(
                handbook.number(TABLE, name)
                for name in ("turn_max_deg", "compass_error_deg", "leg_error_m")
            ),
        )


@dataclass(frozen=True)
class Site:
    """The plot around a line, and which way its map is turned.

    Attributes
    ----------
    outline : shapely.Polygon | shapely.MultiPolygon
        The plot, in the UTM zone.
    convergence_deg : float
        From true north to grid north, positive eastwards [degrees].
    declination_deg : float
        From true north to magnetic north, positive eastwards; NaN where the model has ended
        [degrees].
    scale : float
        Units of the map in a metre on the ellipsoid.
    rise : tuple[float, float]
        Rise of the land to the map's east and north [1].
    """

    outline: Outline
    convergence_deg: float
    declination_deg: float
    scale: float
    rise: tuple[float, float] = (0.0, 0.0)

    @property
    def norths(self) -> tuple[float, float]:
        """Give grid north and magnetic north, from true north.

        Returns
        -------
        tuple[float, float]
            Positive eastwards, the second NaN where the model has ended [degrees].
        """
        return self.convergence_deg, self.declination_deg

    @classmethod
    def each(cls, plots: pd.DataFrame, zone: CRS) -> dict[str, Site]:
        """Look up how the map lies at all plots at once.

        Parameters
        ----------
        plots : pandas.DataFrame
            ``plot_id``, ``longitude_deg``, ``latitude_deg``, ``declination_deg`` (NaN where it
            isn't known), ``slope_used_pct``, ``downslope_true_deg`` (NaN where there is no one
            fall) and ``geometry``, the last in the UTM zone.
        zone : pyproj.CRS
            The UTM zone.

        Returns
        -------
        dict[str, Site]
            The plots by id.
        """
        place = plots["longitude_deg"].to_numpy(), plots["latitude_deg"].to_numpy()
        north = geodesy.convergence_deg(zone, *place)
        slope = plots["slope_used_pct"].to_numpy() / 100
        downhill = np.radians(plots["downslope_true_deg"].to_numpy() - north)
        # Where no one fall is known an edge is as long as on the map.
        rise = np.nan_to_num(-slope * np.stack([np.sin(downhill), np.cos(downhill)]))
        listed = zip(
            plots["geometry"],
            north.tolist(),
            plots["declination_deg"].tolist(),
            geodesy.point_scale(zone, *place).tolist(),
            zip(*rise.tolist(), strict=True),
            strict=True,
        )
        return dict(zip(plots["plot_id"], (cls(*one) for one in listed), strict=True))


@dataclass(frozen=True)
class Course:
    """A line that is to be set out.

    Attributes
    ----------
    line : numpy.ndarray
        The line from its start on, shape (points, 2) [units of the map].
    grade_pct : float
        Grade of the design along it, positive where it falls from the start; 0 on the contour [%].
    site : Site
        The plot.
    pegs : tuple[numpy.ndarray, numpy.ndarray] | None
        Pegs that are chosen already, both ends among them, shape (n, 2) [units of the map], and
        metres along the line to each, shape (n,); None where they are to be placed.
    """

    line: Floats
    grade_pct: float
    site: Site
    pegs: tuple[Floats, Floats] | None = None


@dataclass(frozen=True)
class Walk:
    """A line as it is set out, numbers as they are printed; of n pegs, n - 1 legs.

    Attributes
    ----------
    xy : numpy.ndarray
        Pegs, shape (n, 2) [units of the map].
    leg_m : numpy.ndarray
        Each leg, straight from peg to peg, shape (n - 1,) [m].
    drop_cm : numpy.ndarray
        How far the line is designed to fall over each leg, negative where it climbs, shape (n - 1,)
        [cm].
    true_deg : numpy.ndarray
        Bearing of each leg from true north, in [0, 360), shape (n - 1,) [degrees].
    magnetic_deg : numpy.ndarray
        The same from magnetic north, as a hand compass shows it, NaN where declination isn't known,
        shape (n - 1,) [degrees].
    sideways_cm : numpy.ndarray
        How far the end of the string swings to the right (to the left where negative) off the
        last leg laid on, shape (n - 1,) [cm]; at the first leg, off the tangent.
    tangent_true_deg : float
        Bearing of the tangent at the first peg from true north [degrees].
    longitude_deg : numpy.ndarray
        Of the two ends, WGS 84, shape (2,) [degrees].
    latitude_deg : numpy.ndarray
        Alike.
    ties : tuple[Tie, Tie]
        Where the ends lie along the plot's edge.
    closure_m : float
        How far from its end a walk by compass and string ends, root mean square [m].
    """

    xy: Floats
    leg_m: Floats
    drop_cm: Floats
    true_deg: Floats
    magnetic_deg: Floats
    sideways_cm: Integers
    tangent_true_deg: float
    longitude_deg: Floats
    latitude_deg: Floats
    ties: tuple[Tie, Tie]
    closure_m: float

    def columns(self) -> dict[str, Floats]:
        """List the pegs as they are printed, in columns of numbers.

        Returns
        -------
        dict[str, numpy.ndarray]
            One value a peg, shape (n,) each, NaN for null: ``peg`` from 1, ``along_m`` and, from
            the peg before, ``leg_m`` and ``drop_cm`` (0 at the first); ``bearing_true_deg``,
            ``bearing_magnetic_deg`` and ``sideways_cm`` to the next (null at the last);
            ``longitude_deg`` and ``latitude_deg`` of the ends, else null.
        """
        inner = [np.nan] * (len(self.xy) - 2)
        return {
            "peg": np.arange(1.0, len(self.xy) + 1),
            "along_m": _tenths(np.append(0.0, np.cumsum(self.leg_m))),
            "leg_m": np.append(0.0, self.leg_m),
            "drop_cm": np.append(0.0, self.drop_cm),
            "bearing_true_deg": np.append(self.true_deg, np.nan),
            "bearing_magnetic_deg": np.append(self.magnetic_deg, np.nan),
            "sideways_cm": np.append(self.sideways_cm, np.nan),
            "longitude_deg": np.array([self.longitude_deg[0], *inner, self.longitude_deg[1]]),
            "latitude_deg": np.array([self.latitude_deg[0], *inner, self.latitude_deg[1]]),
        }


def set_out(courses: Sequence[Course], zone: CRS, rules: Rules) -> list[Walk]:
    """Work out what a team needs to set out lines.

    Parameters
    ----------
    courses : Sequence[Course]
        The lines.
    zone : pyproj.CRS
        The UTM zone that they and their plots are in.
    rules : Rules
        How lines are set out.

    Returns
    -------
    list[Walk]
        Pegs, legs and ties of each. Metres are on the ellipsoid: at 2,000 m of height those on the
        ground are 3 cm in 100 m longer.

    Raises
    ------
    ValueError
        If a line has no length, has an unknown point or ends where it starts but for less than
        what is printed, or its grade isn't known.
    """
    if not courses:
        return []
    ends = np.stack([course.line[[0, -1]] for course in courses])
    # All at once: looking up a zone takes as long as working out a line.
    degrees = geodesy.lonlat(zone, *ends.reshape(-1, 2).T)
    longitude, latitude = (each.reshape(-1, 2) for each in degrees)
    return [
        _walk(course, degrees_of, rules)
        for course, *degrees_of in zip(courses, longitude, latitude, strict=True)
    ]


def _walk(course: Course, degrees: Sequence[Floats], rules: Rules) -> Walk:
    line, site = course.line, course.site
    path = _path(line, site.scale)
    if not np.isfinite(course.grade_pct):
        raise ValueError("the grade of a line isn't known")
    if course.pegs is None:
        local, along = stand(path, rules.step_m, rules.turn_max_deg)
        xy = line[0] + local * site.scale
    else:
        xy, along = course.pegs
    local = (xy - line[0]) / site.scale
    leg = np.diff(local, axis=0)
    printed_m = _tenths(np.hypot(*leg.T))
    if not printed_m.all():
        raise ValueError("a line ends where it starts")
    azimuth = _azimuth_deg(leg)
    turn = np.append(_first_turn(path, local[1], along[1] / 2), _turns(azimuth))
    true = azimuth + site.convergence_deg
    ends = np.stack([line[0], line[-1]])
    first, last = tie(site.outline, ends, site.rise, site.scale, site.norths)
    longitude, latitude = degrees
    return Walk(
        xy=xy,
        leg_m=printed_m,
        # A grade of 1 % falls a centimetre in a metre; adding 0 makes 0 of -0.
        drop_cm=course.grade_pct * printed_m + 0.0,
        true_deg=printed_deg(true),
        magnetic_deg=printed_deg(true - site.declination_deg),
        sideways_cm=_sideways(printed_m, turn),
        tangent_true_deg=float(printed_deg(true[0] - turn[0])),
        longitude_deg=longitude,
        latitude_deg=latitude,
        ties=(first, last),
        closure_m=closure_m(printed_m, rules.compass_error_deg, rules.leg_error_m),
    )


def printed_deg(bearing: Floats) -> Floats:
    """Bring bearings to what is printed.

    Parameters
    ----------
    bearing : numpy.ndarray
        Bearings, any number of turns [degrees].

    Returns
    -------
    numpy.ndarray
        The same to half a degree, in [0, 360).

    Examples
    --------
    >>> printed_deg(np.array([84.26, 359.8, -0.2, -90.0])).tolist()
    [84.5, 0.0, 0.0, 270.0]
    """
    rounded: Floats = np.floor(bearing / PRINTED_DEG + 0.5) * PRINTED_DEG % 360
    return rounded


def closure_m(leg_m: Floats, compass_error_deg: float, leg_error_m: float) -> float:
    """Say how far from its end a walk ends, root mean square.

    With random errors of direction σ and of length τ on each leg s, normal and independent, the
    mean square is ``Σ s²σ² + n τ²``, but for terms in σ⁴.

    Parameters
    ----------
    leg_m : numpy.ndarray
        Legs, shape (n,) [m].
    compass_error_deg : float
        Error of a bearing, one standard deviation [degrees].
    leg_error_m : float
        Error of a leg, one standard deviation [m].

    Returns
    -------
    float
        Root mean square distance [m].

    Examples
    --------
    >>> round(closure_m(np.full(10, 10.0), 2.0, 0.1), 2)
    1.15
    """
    across = np.radians(compass_error_deg) * leg_m
    return float(np.sqrt(np.sum(across**2 + leg_error_m**2)))


def _tenths(metres: Floats) -> Floats:
    return np.round(metres, PRINTED_DECIMALS)


def _path(line: Floats, scale: float) -> Floats:
    """Bring a line to metres from its start, without points that repeat the one before."""
    xy = np.asarray(line, dtype=np.float64)
    if not np.isfinite(xy).all():
        raise ValueError("a line has a point that isn't known")
    local = (xy - xy[0]) / scale
    path: Floats = local[np.append(True, (np.diff(local, axis=0) != 0).any(axis=1))]
    if len(path) < len(("start", "end")):
        raise ValueError("a line has no length")
    return path


def stand(path: Floats, step_m: float, turn_max_deg: float) -> tuple[Floats, Floats]:
    """Place pegs a string's length apart, and both ends; on small rings nearer, so that they stand.

    Parameters
    ----------
    path : numpy.ndarray
        The line, no point twice in a row, shape (points, 2) [m].
    step_m : float
        From peg to peg [m].
    turn_max_deg : float
        Where the line turns by more over a step, pegs stand half a step apart [degrees].

    Returns
    -------
    places : numpy.ndarray
        The pegs, shape (pegs, 2) [m].
    along : numpy.ndarray
        Metres along the line to each, shape (pegs,).
    """
    step = np.diff(path, axis=0)
    run = np.append(0.0, np.cumsum(np.hypot(*step.T)))
    heading = np.degrees(np.unwrap(np.arctan2(step[:, 0], step[:, 1])))
    places, along = [path[0]], [0.0]
    while True:
        string = step_m
        if _turn(run, heading, along[-1], string) > turn_max_deg + TURN_DUST_DEG:
            string /= 2
        found = _reach(path, run, places[-1], along[-1], string)
        if found is None:
            break
        places.append(found[0])
        along.append(found[1])
    if len(places) == 1 and np.hypot(*(path[-1] - path[0])) < run[-1] / 2:
        # A ring, or nearly one, that a string reaches around: one leg would not show it.
        return stand(path, step_m / 2, turn_max_deg)
    if len(places) > 1 and np.hypot(*(path[-1] - places[-1])) < NEAR_M:
        del places[-1], along[-1]
    return np.array([*places, path[-1]]), np.array([*along, run[-1]])


def _turn(run: Floats, heading: Floats, begin: float, length: float) -> float:
    """Give the range of a line's directions over a length of it [degrees]."""
    first, last = np.searchsorted(run, [begin, begin + length], side="right") - 1
    span = heading[min(first, len(heading) - 1) : min(last, len(heading) - 1) + 1]
    return float(np.ptp(span))


def _reach(
    path: Floats, run: Floats, place: Floats, begin: float, string: float
) -> tuple[Floats, float] | None:
    """Find where the line first leaves a circle around a peg, or None if it ends within."""
    ahead = int(np.searchsorted(run, begin, side="right"))
    far = np.hypot(*(path[ahead:] - place).T) >= string
    if not far.any():
        return None
    stop = ahead + int(np.argmax(far))
    start = place if stop == ahead else path[stop - 1]
    # |start + t (stop - start) - place| = string: the root where the line leaves the circle.
    side, from_peg = path[stop] - start, start - place
    a, b = side @ side, side @ from_peg
    c = from_peg @ from_peg - string**2
    share = min((np.sqrt(max(b**2 - a * c, 0.0)) - b) / a, 1.0)
    at = start + share * side
    before = begin if stop == ahead else run[stop - 1]
    return at, float(before + np.hypot(*(at - start)))


def _azimuth_deg(leg: Floats) -> Floats:
    azimuth: Floats = np.degrees(np.arctan2(leg[:, 0], leg[:, 1]))
    return azimuth


def _turns(azimuth: Floats) -> Floats:
    """Give the turns from leg to leg, positive to the right, within half a turn [degrees]."""
    turns: Floats = (np.diff(azimuth) + 180) % 360 - 180
    return turns


def _first_turn(path: Floats, second: Floats, half_way: float) -> float:
    """Give the turn from the tangent at the start to the first leg [degrees].

    By the theorem of tangent and chord it is the turn between two chords over any point between:
    no direction of a short first piece of the line is needed.
    """
    run = np.append(0.0, np.cumsum(np.hypot(*np.diff(path, axis=0).T)))
    between = np.array([np.interp(half_way, run, side) for side in path.T])
    return float(_turns(_azimuth_deg(np.stack([between, second - between])))[0])


def _sideways(leg_m: Floats, turn_deg: Floats) -> Integers:
    """Round sideways steps so that the direction of no leg drifts off."""
    found, owed = [], 0.0
    for leg, turn in zip((100 * leg_m).tolist(), np.radians(turn_deg).tolist(), strict=True):
        wanted = owed + turn
        swing = round(2 * leg * np.sin(wanted / 2))
        owed = wanted - 2 * np.arcsin(np.clip(swing / (2 * leg), -1, 1))
        found.append(swing)
    return np.array(found, dtype=np.int64)
