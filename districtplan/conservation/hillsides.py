"""Work sites as lines of structures see them: each in its own plane of metres, with what is near.

The smoothed surface comes from whoever joins the stages: it is asked for by an area in the CRS of
the raster, and says how to get to its plane of metres and back.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple, Protocol

import numpy as np
import shapely

from districtplan import geodesy
from districtplan.conservation.outlets import REFUSED, SLIPPING, Ground, Outlet, safe_outlets
from districtplan.conservation.structure_lines import Hillside

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd
    from numpy.typing import NDArray
    from pyproj import CRS
    from shapely.geometry.base import BaseGeometry as Shape

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]
    Integers = NDArray[np.int64]
    Objects = NDArray[np.object_]

STANDING = ("bank", "terrace", "grass strip")
"""Kinds of lines that are there already, which none may cross."""


class Plane(Protocol):
    """Local metres, and the way to them from the CRS of the raster."""

    def to(self, at: Floats) -> Floats:
        """Bring points to local metres.

        Parameters
        ----------
        at : numpy.ndarray
            In the CRS of the raster, shape (points, 2).

        Returns
        -------
        numpy.ndarray
            Shape (points, 2) [m].
        """

    def back(self, xy: Floats) -> Floats:
        """Undo :meth:`to`.

        Parameters
        ----------
        xy : numpy.ndarray
            Shape (points, 2) [m].

        Returns
        -------
        numpy.ndarray
            In the CRS of the raster, shape (points, 2).
        """


class Doubt(Protocol):
    """How far a surface may be from the land."""

    @property
    def floor(self) -> float:
        """Give the grade of lines that follow the surface's own contours.

        Returns
        -------
        float
            Root mean square grade [1].
        """


class Surface(Ground, Protocol):
    """A smoothed surface that knows its doubt."""

    @property
    def doubt(self) -> Doubt:
        """Give how far its gradient may be from the land's.

        Returns
        -------
        Doubt
            The doubt.
        """


class Surfaces(Protocol):
    """Whoever smooths the raster around an area."""

    def surface(self, outline: shapely.Polygon) -> tuple[Plane, Surface | None]:
        """Smooth the heights around an area.

        Parameters
        ----------
        outline : shapely.Polygon
            In the CRS of the raster.

        Returns
        -------
        plane : Plane
            Its local metres.
        surface : Surface | None
            The surface in them; None where too little is known of it.
        """


@dataclass(frozen=True)
class Terrain:
    """What lies on all hillsides.

    Attributes
    ----------
    outlines : numpy.ndarray
        Outlines of all plots in the UTM zone, shape (plots,).
    features : pandas.DataFrame
        ``kind``, ``feature``, ``width_m`` (of lines) and ``geometry`` in the zone.
    flow : numpy.ndarray
        Flow lines in the zone, each down the flow, the largest first, shape (lines,).
    zone : pyproj.CRS
        The zone.
    raster_crs : pyproj.CRS
        CRS of the raster.
    surfaces : Surfaces
        Whoever smooths it.
    """

    outlines: Objects
    features: pd.DataFrame
    flow: Objects
    zone: CRS
    raster_crs: CRS
    surfaces: Surfaces


class Soil(NamedTuple):
    """What is known of the ground of each plot, shape (plots,) each."""

    depth_m: Floats
    drains_freely: Bools
    slipping: Bools
    no_waterway: Bools
    """Too steep for a grassed waterway, or ruled out by staff."""

    def deep_and_free(self, own: Integers, depth_m: float) -> bool:
        """Tell whether some plots are known to be deep and to drain freely.

        Parameters
        ----------
        own : numpy.ndarray
            Places of the plots.
        depth_m : float
            Least depth [m].

        Returns
        -------
        bool
            True if all are.
        """
        return bool((self.drains_freely[own] & (self.depth_m[own] >= depth_m)).all())


class Site(NamedTuple):
    """A work site in its plane of metres; shapes by the plots' places in the run."""

    plane: Plane
    surface: Surface | None
    outlines: Mapping[int, Shape]
    outlets: tuple[Outlet, ...]
    flow: tuple[shapely.LineString, ...]
    refused: Shape
    standing: tuple[shapely.LineString, ...]
    slipping: bool

    def hillside(self, own: Integers, ids: tuple[str, ...], soil: Soil, depth_m: float) -> Hillside:
        """Take some of its plots as the hillside of a measure.

        Parameters
        ----------
        own : numpy.ndarray
            Places of these plots, from the top down.
        ids : tuple[str, ...]
            Their ids.
        soil : Soil
            What is known of all plots of the run.
        depth_m : float
            Soil that the measure needs [m].

        Returns
        -------
        Hillside
            What lines are drawn on.
        """
        every = np.array(list(self.outlines), dtype=np.int64)
        slipping = self.slipping or soil.slipping[every].any()
        bars = every[soil.no_waterway[every]].tolist()
        return Hillside(
            plot_ids=ids,
            plots=np.array([self.outlines[place] for place in own.tolist()], dtype=object),
            outlets=self.outlets,
            flow=self.flow,
            refused=self.refused,
            deep_and_free=soil.deep_and_free(own, depth_m),
            slipping=bool(slipping),
            no_waterway=shapely.union_all([self.outlines[place] for place in bars]),
            ground=self.surface,
            floor_pct=np.inf if self.surface is None else 100 * self.surface.doubt.floor,
        )

    def refused_with(self, shut: Integers, open_to: Integers) -> Shape:
        """Add some of its plots to what water may not be led onto.

        Parameters
        ----------
        shut : numpy.ndarray
            Places of these plots.
        open_to : numpy.ndarray
            Places of the others: outlines may overlap by what walking them errs.

        Returns
        -------
        Shape
            All of it.
        """
        off, rest = (
            shapely.union_all([self.outlines[place] for place in places.tolist()])
            for places in (shut, open_to)
        )
        return shapely.union(self.refused, shapely.difference(off, rest))


class Hillsides:
    """Gives work sites one by one.

    Parameters
    ----------
    terrain : Terrain
        What lies on all of them.
    reach_m : float
        How far around a site is looked [m].
    """

    def __init__(self, terrain: Terrain, reach_m: float) -> None:
        self._terrain, self._reach_m = terrain, reach_m
        self._plots = self._on_raster(terrain.outlines)
        self._things = self._on_raster(terrain.features["geometry"].to_numpy(dtype=object))
        self._flow = self._on_raster(terrain.flow)
        self._trees = [shapely.STRtree(each) for each in (self._plots, self._things, self._flow)]

    def _on_raster(self, shapes: Objects) -> Objects:
        return geodesy.reproject(shapes, self._terrain.zone, self._terrain.raster_crs)

    def site(self, own: Integers) -> Site:
        """Give one site.

        Parameters
        ----------
        own : numpy.ndarray
            Places of its plots.

        Returns
        -------
        Site
            The site, with what lies within reach of it.
        """
        west, south, east, north = shapely.total_bounds(self._terrain.outlines[own])
        reach = self._reach_m
        area = shapely.box(west - reach, south - reach, east + reach, north + reach)
        (around,) = self._on_raster(np.array([area], dtype=object))
        plane, surface = self._terrain.surfaces.surface(around)
        plots, things, flow = (
            np.sort(tree.query(around, predicate="intersects")) for tree in self._trees
        )
        features = self._terrain.features.iloc[things]
        features = features.assign(geometry=self._local(self._things[things], plane))
        others = self._local(self._plots[np.setdiff1d(plots, own)], plane)
        mine = self._local(self._plots[own], plane)
        # Outlines of neighbours may overlap by what walking them errs.
        beside = shapely.difference(shapely.union_all(others), shapely.union_all(mine))
        kinds = features["kind"]
        return Site(
            plane=plane,
            surface=surface,
            outlines=dict(zip(own.tolist(), mine, strict=True)),
            outlets=safe_outlets(features),
            flow=_courses(self._local(self._flow[flow], plane)),
            refused=shapely.union_all([beside, *_wide(features[kinds.isin(REFUSED)])]),
            standing=_courses(features.loc[kinds.isin(STANDING), "geometry"].to_numpy()),
            slipping=bool((kinds == SLIPPING).any()),
        )

    @staticmethod
    def _local(shapes: Objects, plane: Plane) -> Objects:
        return np.asarray(shapely.transform(shapes, plane.to), dtype=object).reshape(-1)


def _courses(shapes: Objects) -> tuple[shapely.LineString, ...]:
    """Give the lines among shapes, in their parts."""
    parts = shapely.get_parts(shapes)
    return tuple(part for part in parts if part.geom_type == "LineString")


def _wide(features: pd.DataFrame) -> list[Shape]:
    """Give the land of features: polygons as they are, lines as wide as they are."""
    half = features["width_m"].fillna(0.0).to_numpy(dtype=np.float64) / 2
    return list(shapely.buffer(features["geometry"].to_numpy(dtype=object), half))
