"""A GPX 1.1 file a village: outlines of plots as tracks, ends of lines as waypoints.

The standard fixes the order of elements: metadata, waypoints, routes, tracks; within a waypoint and
a track name, comment, description. Longitudes lie in [-180, 180), latitudes in [-90, 90]. No
farmer's name is written: a phone is lent and lost.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple
from xml.etree import ElementTree as ET

import numpy as np
import shapely
from pyproj import CRS

from districtplan import geodesy
from districtplan.outputs import wording
from districtplan.outputs.file_names import village_stems

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import date

    from numpy.typing import NDArray

    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

    Floats = NDArray[np.float64]

NAMESPACE = "http://www.topografix.com/GPX/1/1"
CREATOR = "districtplan"
DECLARATION = '<?xml version="1.0" encoding="UTF-8"?>'
ENDS = ("start", "end")
POLE = 90.0
DECIMALS = 7
"""Of a degree: a centimetre."""
# XML 1.0 can't hold most of these, and readers change line ends.
NOT_XML = re.compile("[\x00-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")
UNKNOWN = "\ufffd"


@dataclass(frozen=True)
class Track:
    """An outline.

    Attributes
    ----------
    name : str
        Id of the plot.
    rings : tuple[numpy.ndarray, ...]
        Its rings, outer ones and holes, each of shape (points, 2): longitude, latitude [degrees].
    """

    name: str
    rings: tuple[Floats, ...]


@dataclass(frozen=True)
class Waypoint:
    """The end of a line.

    Attributes
    ----------
    name : str
        What it is, short.
    longitude_deg : float
        Longitude, WGS 84 [degrees].
    latitude_deg : float
        Latitude, WGS 84 [degrees].
    told : str | None
        What is to be known there.
    """

    name: str
    longitude_deg: float
    latitude_deg: float
    told: str | None = None


class Route(NamedTuple):
    """A way from place to place.

    Attributes
    ----------
    name : str
        What it is.
    places : numpy.ndarray
        Its places, shape (places, 2): longitude, latitude [degrees].
    """

    name: str
    places: Floats


def render(results: Results, texts: Texts) -> dict[str, bytes]:
    """Write the files of all villages.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    dict[str, bytes]
        ``gpx/v001-name.gpx`` and so on, villages numbered in the order of their totals.
    """
    plots = results.plots
    degrees = geodesy.reproject(
        plots["geometry"].to_numpy(), results.plots_crs, CRS.from_epsg(4326)
    )
    day = results.plan.district.planting_date
    place_of = {plot_id: place for place, plot_id in enumerate(plots["plot_id"])}
    points = _waypoints(results, place_of, texts)
    for at, begins in _starts(results, place_of, texts):
        points.setdefault(at, []).append(begins)
    files = {}
    places_of: dict[str, list[int]] = {}
    for at, village in enumerate(plots["village"]):
        places_of.setdefault(str(village), []).append(at)
    for village, stem in village_stems(map(str, results.villages["village"])).items():
        places = places_of[village]
        tracks = [Track(str(plots["plot_id"].iloc[at]), rings(degrees[at])) for at in places]
        title = texts.say("gpx.title", village=village, district=results.plan.district.name)
        waypoints = [point for at in places for point in points.get(at, ())]
        files[f"gpx/{stem}.gpx"] = write(title, tracks, waypoints, day)
    return files


def _waypoints(
    results: Results, place_of: dict[str, int], texts: Texts
) -> dict[int, list[Waypoint]]:
    """Sort ends of lines by their plots' places."""
    found: dict[int, list[Waypoint]] = {}
    before: dict[str, int] = {}
    for (plot_id, line), walk in results.pegs.walks.items():
        ends = zip(ENDS, walk.longitude_deg.tolist(), walk.latitude_deg.tolist(), strict=True)
        # A percent falls a centimetre in a metre.
        falls = _falls(float(walk.drop_cm.sum() / walk.leg_m.sum()), results, texts)
        # Sheets number pegs through all lines of a plot.
        first = before.get(plot_id, 0) + 1
        before[plot_id] = last = first + len(walk.leg_m)
        told = [" ".join((texts.say("gpx.peg", number=peg), *falls)) for peg in (first, last)]
        found.setdefault(place_of[plot_id], []).extend(
            Waypoint(texts.say(f"gpx.{end}", plot_id=plot_id, line=line), longitude, latitude, said)
            for (end, longitude, latitude), said in zip(ends, told, strict=True)
        )
    return found


def _starts(
    results: Results, place_of: dict[str, int], texts: Texts
) -> Iterator[tuple[int, Waypoint]]:
    """Give places of plots, and where lines start there whose course the team finds."""
    lines = results.guides.lines
    begun = lines[lines["geometry"].isna()]
    plots = results.plots[results.plots["plot_id"].isin(begun["plot_id"])]
    laid = set(plots.loc[~wording.barred(plots), "plot_id"])
    for line in begun.to_dict("records"):
        plot_id, number = line["plot_id"], line["line"]
        if plot_id in laid and (plot_id, number) not in results.pegs.walks:
            yield (
                place_of[plot_id],
                Waypoint(
                    texts.say("gpx.start", plot_id=plot_id, line=number),
                    line["start_longitude_deg"],
                    line["start_latitude_deg"],
                    " ".join(_falls(line["line_fall_pct"], results, texts)) or None,
                ),
            )


def _falls(fall_pct: float, results: Results, texts: Texts) -> list[str]:
    """Say how far a line falls over a string's level; nothing where it is level."""
    span = results.handbook.number("setting_out", "line_level_span_m")
    cm = round(fall_pct * span, 1)
    return [texts.say("gpx.falls", cm=cm, metres=span)] if cm > 0 else []


def rings(outline: shapely.Polygon | shapely.MultiPolygon) -> tuple[Floats, ...]:
    """Take an outline apart into rings.

    Parameters
    ----------
    outline : shapely.Polygon | shapely.MultiPolygon
        The outline.

    Returns
    -------
    tuple[numpy.ndarray, ...]
        Its rings, those of a part together, its outer one first, shape (points, 2) each.
    """
    parts = shapely.get_parts(outline)
    return tuple(
        shapely.get_coordinates(ring) for part in parts for ring in shapely.get_rings(part)
    )


def write(
    title: str,
    tracks: Sequence[Track],
    waypoints: Sequence[Waypoint],
    day: date,
    route: Route | None = None,
) -> bytes:
    """Write one GPX 1.1 file.

    Parameters
    ----------
    title : str
        Name of the file's content.
    tracks : Sequence[Track]
        Outlines.
    waypoints : Sequence[Waypoint]
        Ends of lines.
    day : datetime.date
        Its date.
    route : Route | None, default None
        A way, if there is one.

    Returns
    -------
    bytes
        The file; the same for the same content.

    Raises
    ------
    ValueError
        If a place isn't known, or lies off the globe.
    """
    root = ET.Element("gpx", {"xmlns": NAMESPACE, "version": "1.1", "creator": CREATOR})
    metadata = ET.SubElement(root, "metadata")
    _text(metadata, "name", title)
    _text(metadata, "time", f"{day.isoformat()}T00:00:00Z")
    for point in waypoints:
        place = np.array([[point.longitude_deg, point.latitude_deg]])
        (waypoint,) = _points(root, "wpt", place)
        _text(waypoint, "name", point.name)
        if point.told is not None:
            _text(waypoint, "desc", point.told)
    if route is not None:
        rte = ET.SubElement(root, "rte")
        _text(rte, "name", route.name)
        _points(rte, "rtept", route.places)
    for track in tracks:
        trk = ET.SubElement(root, "trk")
        _text(trk, "name", track.name)
        for ring in track.rings:
            _points(ET.SubElement(trk, "trkseg"), "trkpt", ring)
    ET.indent(root, space="")
    return f"{DECLARATION}\n{ET.tostring(root, encoding='unicode')}\n".encode()


def _points(parent: ET.Element, tag: str, places: Floats) -> list[ET.Element]:
    longitude, latitude = np.round(places, DECIMALS).T
    # The standard has -180 and not 180.
    longitude = np.where(longitude == geodesy.HALF_TURN, -geodesy.HALF_TURN, longitude)
    if not (np.abs(longitude) <= geodesy.HALF_TURN).all() or not (np.abs(latitude) <= POLE).all():
        raise ValueError("a place isn't known, or lies off the globe")
    # Adding 0 makes 0 of -0.
    return [
        ET.SubElement(parent, tag, {"lat": f"{lat:.{DECIMALS}f}", "lon": f"{lon:.{DECIMALS}f}"})
        for lon, lat in zip((longitude + 0.0).tolist(), (latitude + 0.0).tolist(), strict=True)
    ]


def _text(parent: ET.Element, tag: str, text: str) -> None:
    ET.SubElement(parent, tag).text = NOT_XML.sub(UNKNOWN, text)
