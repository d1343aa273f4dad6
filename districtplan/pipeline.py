"""The whole run, in the order of the job. Read this first."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from districtplan import (
    conservation,
    demos,
    erosion,
    geodesy,
    handbook,
    inputs,
    intake,
    records,
    rows,
    terrain,
    travel,
    visits,
    water,
)
from districtplan.clock import Clock
from districtplan.demo import make
from districtplan.errors import both
from districtplan.files import (
    columns,
    features,
    keyed_csv,
    new_files,
    plan_file,
    practice_file,
    raster,
    readings,
    relief,
    run_folder,
    soil_raster,
    vector,
)
from districtplan.outputs import explanation, measure_words, page, render_all, sheets, wording
from districtplan.outputs.sources import listing
from districtplan.outputs.texts import Texts
from districtplan.results import Features, GroundReadings, Relief, Results, RowLines, join

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from numpy.typing import NDArray

    from districtplan.accepted import Given
    from districtplan.handbook import Handbook
    from districtplan.outputs.explanation import Step
    from districtplan.outputs.sources import Entry
    from districtplan.plan import Plan

    Floats = NDArray[np.float64]
    Progress = Callable[[str, float], None]


def silent(step: str, share: float) -> None:
    """Show no progress.

    Parameters
    ----------
    step : str
        Name of the step.
    share : float
        Share of it that is done, 0 to 1.
    """


def find(plan: Path, progress: Progress = silent) -> Results:
    """Read everything that a plan names and work it out; write nothing.

    Parameters
    ----------
    plan : Path
        The plan file.
    progress : Callable[[str, float], None], default silent
        Called with the name of a step and the share of it that is done.

    Returns
    -------
    Results
        All that was found.

    Raises
    ------
    PlanError
        If the plan has faults; all are told together.
    InputError
        If a file that it names can't be used, or none of its plots can.
    """
    clock = Clock(progress)
    read, book, asked, string = _asked(plan)
    with clock.step("plots"):
        raw, opened = both(lambda: vector.read_plots(read), lambda: raster.Raster(read))
        land, written, known, typed = (
            vector.read_reference_land(read),
            readings.read_readings(read),
            features.read_features(read),
            _Beside.read(read),
        )
        plots, refused, early, spellings = _accepted(raw, typed, asked, book)
    with opened as elevation:
        estimate, asked = _error(land, elevation, asked, book, clock)
        with clock.step("terrain"):
            zone = intake.utm_zone(
                plots["longitude_deg"].to_numpy(), plots["latitude_deg"].to_numpy()
            )
            on_raster = _on_raster(plots, raw, elevation)
            moved = on_raster["geometry"].to_numpy()
            ground, unusable = terrain.measure(on_raster, elevation, zone, asked, book, clock.share)
            meant = intake.Meant(raw.name, raw.crs, elevation.grid)
            plots, refused = intake.set_aside_later(plots, refused, unusable, meant, asked)
            refused = intake.with_lines(refused, raw.frame)
        with clock.step("forecast"):
            forecasts = terrain.forecast(on_raster, ground, elevation, asked, book)
        with clock.step("readings"):
            taken = records.accept(written.frame, ground, refused, asked, book)
            compared, calibration = terrain.calibrate(ground, taken.used, plots, zone, asked, book)
            ground = terrain.apply_readings(ground, compared, plots, zone, asked, book)
        on_raster = on_raster[on_raster["plot_id"].isin(ground["plot_id"])]
        taking, given, mapped = (
            _taking(known, zone, book),
            early | typed.accept(plots, asked, book),
            _mapped(read, plots, raw.crs, book),
        )
        with clock.step("water"):
            flow, flow_lines, catchments, lengths = _water(
                _Drawn(on_raster, ground, elevation, zone, taking), given, asked, book, clock
            )
        with clock.step("rows"):
            on_zone = plots.assign(
                geometry=geodesy.reproject(plots["geometry"].to_numpy(), raw.crs, zone)
            )
            ground, in_rows, row_lines = _rows(
                on_zone,
                ground,
                lying := _Lying(
                    taking.used,
                    flow_lines,
                    zone,
                    on_raster,
                    elevation,
                    on_zone,
                    _belts(taking.used, asked),
                ),
                asked,
                book,
            )
        with clock.step("guide lines"):
            guides, row_lines, in_rows = _guided(
                lying, ground, (in_rows, row_lines), asked, book, clock
            )
        needed = _needed(
            plots,
            there := _Known(ground, flow, lengths, given, mapped, book),
            in_rows,
            asked,
            book,
            clock,
        )
        joined = join(plots, ground, flow, in_rows, guides.plots, *needed)
        villages, district = inputs.totals(joined, asked)
        bought, (joined, proposal, works) = (
            _bought(joined, lying, there, asked, book, clock),
            _conserved(joined, lying, there, asked, book, clock),
        )
        with clock.step("pegs"):
            pegs = _pegs(on_zone, joined, rows.Rows(row_lines.lines, zone), guides, asked, book)
        teaching, picture = (
            _teaching(joined, bought, (lying, there), row_lines.planted, (asked, book), clock),
            _pictured(elevation, moved, clock),
        )
        season, by_hand = _visited(
            _Ready(joined, bought, proposal, teaching), typed, (lying, there), (asked, book), clock
        )
    return Results(
        plan=asked,
        handbook=book,
        plots=join(joined, inputs.area_errors(bought.kits, joined["area_ha"].to_numpy())),
        plots_crs=raw.crs,
        grid_crs=zone,
        estimate=estimate,
        guides=guides,
        pegs=pegs,
        proposal=proposal,
        works=works,
        string=string,
        readings=GroundReadings(compared, taken.set_aside, len(written.frame), calibration),
        features=taking,
        row_lines=row_lines,
        flow_lines=flow_lines,
        catchments=catchments,
        purchase=inputs.with_nurseries(bought, proposal.nurseries, there.used("onsets")),
        villages=villages,
        district=district,
        set_aside=refused,
        rows_read=len(raw.frame),
        relief=picture,
        forecasts=forecasts,
        input_sha256={
            **raw.sha256,
            **elevation.sha256,
            **({} if land is None else land.sha256),
            **written.sha256,
            **known.sha256,
            **typed.sha256,
            **mapped.sha256,
        },
        seconds=clock.seconds,
        warnings=(
            *erosion.doubts(asked, book),
            *inputs.doubts(asked, book),
            *inputs.delivery_doubts(bought.lots, bought.calendar, asked),
            *intake.doubts(joined, spellings),
            *intake.name_doubts(spellings, joined, listed="villages" in typed.named),
            *geodesy.doubts(asked.district.planting_date),
            *terrain.unit_doubts(ground, compared, asked, book),
            *sheets.doubts(joined, asked),
            *page.doubts(len(villages), asked),
            *elevation.warnings,
            *written.warnings,
            *typed.warnings,
            *mapped.warnings,
            *(erosion.soils_doubts(given["soils"].used) if "soils" in given else ()),
        ),
        beside=given | by_hand,
        village_names=spellings,
        demos=teaching,
        visits=season,
    )


def _pictured(elevation: raster.Raster, moved: NDArray[np.object_], clock: Clock) -> Relief:
    """Shade the hills of the district."""
    with clock.step("relief"):
        return relief.read_relief(elevation, moved)


def _spelt(
    plots: pd.DataFrame, typed: _Beside, asked: Plan
) -> tuple[pd.DataFrame, dict[str, Given], pd.DataFrame]:
    """Name villages as staff decided, and suggest what else may be one."""
    plots, given = intake.rename(plots, typed.tables["village_names"].frame)
    listed = [str(name) for name in typed.tables["villages"].frame["village"]]
    suggested = intake.suggest(
        plots["village"],
        listed if "villages" in typed.named else None,
        asked.limits.name_likeness_min_pct,
    )
    return plots, {"village_names": given} if "village_names" in typed.named else {}, suggested


def _asked(plan: Path) -> tuple[plan_file.PlanFile, Handbook, Plan, inputs.MarkedString]:
    """Read the plan under its handbook; what can't be carried by a string is told first."""
    read = plan_file.read_plan(plan)
    book = practice_file.read_handbook(read)
    asked = inputs.dosed(read.plan.under(book))
    return read, book, asked, inputs.marked_string(asked, book)


def _accepted(
    raw: vector.RawPlots, typed: _Beside, asked: Plan, book: Handbook
) -> tuple[pd.DataFrame, pd.DataFrame, dict[str, Given], pd.DataFrame]:
    """Take the plots that can be used, villages named as staff decided, and soils known of them."""
    plots, refused = intake.accept(raw.frame, raw.crs, asked)
    plots, given, spellings = _spelt(intake.require_some(plots, refused, raw.name), typed, asked)
    soils = None
    if "soils" in typed.named:
        # Rows are laid by the soil, so it is taken before the raster is looked at.
        given["soils"] = erosion.accept_soils(
            typed.tables["soils"].frame, plots["village"], asked, book
        )
        soils = given["soils"].used
    return join(plots, conservation.soil(plots, soils)), refused, given, spellings


def _taking(known: features.RawFeatures, zone: CRS, book: Handbook) -> Features:
    """Take what lies on the land, and set aside what can't be used."""
    used, aside = intake.accept_features(known.frame, known.crs, zone, book)
    return Features(used, aside, len(known.frame))


def _on_raster(plots: pd.DataFrame, raw: vector.RawPlots, elevation: raster.Raster) -> pd.DataFrame:
    """Bring outlines to the raster's CRS; plots of another zone are told of it."""
    outlines, grid = plots["geometry"].to_numpy(), elevation.grid
    intake.require_zone(outlines, raw.name, raw.crs, grid)
    return plots.assign(geometry=geodesy.reproject(outlines, raw.crs, grid.crs))


class _Drawn(NamedTuple):
    """Plots, the land that they lie on, and what is drawn there."""

    on_raster: pd.DataFrame
    ground: pd.DataFrame
    elevation: raster.Raster
    zone: CRS
    taking: Features


def _water(
    land: _Drawn, given: dict[str, Given], asked: Plan, book: Handbook, clock: Clock
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame, Floats]:
    """Trace water on the raster, bring its shapes to the zone, and sum up L by upslope area."""
    crs = land.elevation.grid.crs
    slope = land.ground.set_index("plot_id")["slope_used_pct"].loc[land.on_raster["plot_id"]]
    lengths = erosion.LengthByArea(
        slope.to_numpy(), asked.erosion.slope_length_cap_m, erosion.constants(book)
    )
    used = land.taking.used
    beside = water.Beside(
        used.assign(geometry=geodesy.reproject(used["geometry"].to_numpy(), land.zone, crs)),
        lambda cells: lengths.add(erosion.FlowCells(*cells)),
    )
    flow, *shapes = water.trace(land.on_raster, land.elevation, asked, book, clock.share, beside)
    if "current_practice" in given:
        flow = water.override(flow, given["current_practice"].used)

    def moved(table: pd.DataFrame) -> pd.DataFrame:
        if "geometry" not in table:
            return table
        drawn = table["geometry"].to_numpy(dtype=object)
        return table.assign(geometry=geodesy.reproject(drawn, crs, land.zone))

    lines, catchments = map(moved, shapes)
    return flow, lines, catchments, lengths.mean()


class _Mapped(NamedTuple):
    """R and K of plots from rasters, None where the plan names none; digests, and doubts."""

    rain_erosivity: Floats | None
    erodibility: Floats | None
    sha256: dict[str, str]
    warnings: tuple[str, ...]


def _mapped(read: plan_file.PlanFile, plots: pd.DataFrame, crs: CRS, book: Handbook) -> _Mapped:
    """Take R and K of plots from the rasters that the plan names."""
    soil, digests, said = read.plan.soil, dict[str, str](), list[str]()

    def means(quantity: erosion.Quantity, name: str | None, unit: str | None) -> Floats | None:
        if name is None or unit is None:
            return None
        with soil_raster.SoilRaster(name, read.folder) as values:
            digests.update(values.sha256)
            outlines = plots["geometry"].to_numpy(dtype=object)
            outlines = geodesy.reproject(outlines, crs, values.grid.crs)
            found = erosion.plot_means(outlines, values, quantity, unit, book)
        said.extend(erosion.raster_doubts(found, name, quantity, unit, book))
        return found.mean

    return _Mapped(
        means("rain_erosivity", soil.rain_erosivity_raster, soil.rain_erosivity_unit),
        means("erodibility", soil.erodibility_raster, soil.erodibility_unit),
        digests,
        tuple(said),
    )


class _Lying(NamedTuple):
    """What lies on the land, the zone that rows are laid in, and the land itself."""

    features: pd.DataFrame
    flow_lines: pd.DataFrame
    zone: CRS
    on_raster: pd.DataFrame
    elevation: raster.Raster
    on_zone: pd.DataFrame
    belts: inputs.Buffers


def _running(lying: _Lying) -> rows.Running:
    """Take the water that runs on the land."""
    used = lying.features
    drawn = rows.areas(used[used["kind"].isin(rows.DRAWN)])
    return rows.Running(lying.flow_lines["geometry"].to_numpy(), drawn, lying.zone)


def _rows(
    on_zone: pd.DataFrame, ground: pd.DataFrame, lying: _Lying, asked: Plan, book: Handbook
) -> tuple[pd.DataFrame, pd.DataFrame, RowLines]:
    """Lay rows clear of what lies on the land and of low places; they may be turned to fall."""
    zone, used = lying.zone, lying.features
    strips = rows.strips(on_zone, ground, _running(lying), lying.elevation, asked, book)
    ground, drained = rows.drain(on_zone, ground, zone, used, asked, book)
    clear = rows.Clear(np.concatenate([rows.areas(used), *lying.belts]), strips)
    table, planted, laid = rows.lay(on_zone, ground, zone, clear, asked)
    land = lying.on_raster.merge(ground[["plot_id", "row_method", "bend_grade_pct"]], on="plot_id")
    low = rows.low_places(land, laid, zone, lying.elevation, asked, book)
    if low.table["row_breaks"].any():
        clear = clear._replace(gaps=low.gaps)
        table, planted, laid = rows.lay(on_zone, ground, zone, clear, asked)
    lines = RowLines(*rows.draw(laid, asked.rows.drawn_rows_max), planted, clear)
    return ground, join(drained, low.table, table), lines


def _guided(
    lying: _Lying,
    ground: pd.DataFrame,
    laid: tuple[pd.DataFrame, RowLines],
    asked: Plan,
    book: Handbook,
    clock: Clock,
) -> tuple[rows.Guides, RowLines, pd.DataFrame]:
    """Find guide lines, and put the rows that follow them in place of straight ones."""
    in_rows, lines = laid
    on_raster, zone, raster_crs = lying.on_raster, lying.zone, lying.elevation.grid.crs
    beside = rows.with_standing(on_raster, lines.planted, lying.features, zone, raster_crs)
    of_rows = ["plot_id", "flow_strip_m2", "row_grade_design_pct", "row_fall_to"]
    known = ground.merge(in_rows[of_rows], on="plot_id")
    wet = rows.beside_water(
        lying.on_zone["geometry"].to_numpy(dtype=object),
        _running(lying),
        lines.clear.strips,
        asked.water.strip_width_m,
    )
    beside = beside.assign(wet=geodesy.reproject(wet, zone, raster_crs))
    guides = rows.guide_lines(
        beside.merge(known, on="plot_id", validate="one_to_one"),
        lying.elevation,
        asked,
        book,
        lines.every,
        clock.share,
    )
    moved = geodesy.reproject(guides.rows["geometry"].to_numpy(), raster_crs, zone)
    drawn = pd.concat([lines.lines, guides.rows.assign(geometry=moved)], ignore_index=True)
    counted = rows.with_curved(in_rows, guides.counts, asked.rows.gap_width_m)
    return guides, dataclasses.replace(lines, lines=drawn), counted


class _Beside(NamedTuple):
    """Files with a row a plot, a village or a buying point, as read, by their keys in the plan."""

    tables: dict[str, keyed_csv.RawTable]
    named: frozenset[str]

    @classmethod
    def read(cls, read: plan_file.PlanFile) -> _Beside:
        """Read the files that the plan names."""
        columns = {
            "current_practice": erosion.PRACTICE,
            "soils": erosion.SOILS,
            "vetoes": conservation.VETOES,
            "enrolment": inputs.ENROLMENT,
            "onsets": inputs.ONSETS,
            "stock": inputs.STOCK,
            "arrived": inputs.ARRIVED,
            "villages": intake.VILLAGE_LIST,
            "village_names": intake.SPELLINGS,
            "answers": demos.ANSWERS,
            "homesteads": demos.HOMESTEADS,
            "shown": demos.SHOWN,
            "agents": visits.AGENTS,
            "leave": visits.LEAVE,
            "meeting_places": visits.MEETING_PLACES,
            "by_hand": visits.BY_HAND,
            "observed": visits.OBSERVED,
            "carried_on": visits.CARRIED_ON,
            "trips": visits.TRIPS,
        }
        names = {key: read.plan.file_of(key) for key in columns}
        beside = {"village_names": intake.SUGGESTED, "carried_on": visits.COLUMNS}
        return cls(
            {
                key: keyed_csv.read_table(names[key], read.folder, known, beside.get(key, ()))
                for key, known in columns.items()
            },
            frozenset(key for key, name in names.items() if name is not None),
        )

    @property
    def sha256(self) -> dict[str, str]:
        """Digests of the files, by name."""
        return {name: told for raw in self.tables.values() for name, told in raw.sha256.items()}

    @property
    def warnings(self) -> tuple[str, ...]:
        """What was noticed of the files."""
        return tuple(told for raw in self.tables.values() for told in raw.warnings)

    def accept(self, plots: pd.DataFrame, asked: Plan, book: Handbook) -> dict[str, Given]:
        """Take the rows that can be used, of the files that are named but those taken early."""
        ids, villages = set(plots["plot_id"]), set(plots["village"])
        frames = {key: raw.frame for key, raw in self.tables.items()}
        labels = measure_words.labels(book, Texts.load("en"))
        enrolled = inputs.accept_enrolment(frames["enrolment"], plots)
        taking = enrolled.used if "enrolment" in self.named else None
        points = inputs.buying_points(plots, taking, asked)
        far_deg = book.number("demo_choices", "homestead_far_deg")
        within = visits.near(plots, far_deg)
        found: dict[str, Given] = {
            "current_practice": erosion.accept_practice(
                frames["current_practice"],
                ids,
                asked,
                book,
                conservation.structure_names(book, labels),
            ),
            "vetoes": conservation.accept_vetoes(
                frames["vetoes"], ids, conservation.measure_names(book, labels)
            ),
            "enrolment": enrolled,
            "onsets": inputs.accept_onsets(frames["onsets"], villages),
            "stock": inputs.accept_amounts(frames["stock"], points, inputs.STOCK),
            "arrived": inputs.accept_amounts(frames["arrived"], villages, inputs.ARRIVED),
            "answers": demos.accept_answers(frames["answers"], ids),
            "homesteads": demos.accept_homesteads(frames["homesteads"], plots, far_deg),
            "shown": demos.accept_shown(frames["shown"], ids),
            "agents": visits.accept_agents(frames["agents"], villages, within),
            "meeting_places": visits.accept_meeting_places(
                frames["meeting_places"], villages, within
            ),
            "carried_on": visits.accept_carried_on(
                frames["carried_on"], set(book.rows(visits.STAGES)["name"])
            ),
        }
        return {key: given for key, given in found.items() if key in self.named}


class _Known(NamedTuple):
    """What soil loss goes by, and who takes part."""

    ground: pd.DataFrame
    flow: pd.DataFrame
    length_by_area: Floats
    given: dict[str, Given]
    mapped: _Mapped
    book: Handbook

    def used(self, key: str) -> pd.DataFrame | None:
        """Give the rows used of one file, None where the plan doesn't name it."""
        return self.given[key].used if key in self.given else None

    @property
    def beside(self) -> erosion.Beside:
        """The same as the erosion stage takes it."""
        above = ["slope_length_above_m", "slope_length_above_at_least"]
        vetoes = self.used("vetoes")
        return erosion.Beside(
            above=self.flow[["plot_id", *above]],
            practice=self.used("current_practice"),
            soils=self.used("soils"),
            length_by_area=self.length_by_area,
            rain_erosivity=self.mapped.rain_erosivity,
            erodibility=self.mapped.erodibility,
            no_ridges=frozenset()
            if vetoes is None
            else conservation.ruled_out(vetoes, conservation.RIDGES),
        )


def _needed(
    plots: pd.DataFrame,
    there: _Known,
    in_rows: pd.DataFrame,
    asked: Plan,
    book: Handbook,
    clock: Clock,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Assess the soil's loss, and work out what is planted and spread."""
    with clock.step("erosion"):
        soil = erosion.assess(plots, there.ground, asked, book, there.beside)
    with clock.step("inputs"):
        return soil, inputs.need(in_rows, asked, book)


def _conserved(
    joined: pd.DataFrame,
    lying: _Lying,
    there: _Known,
    asked: Plan,
    book: Handbook,
    clock: Clock,
) -> tuple[pd.DataFrame, conservation.Proposal, conservation.Works]:
    """Set measures against soil loss beside each plot, choose, and lay out each hillside."""
    outlines = lying.on_zone["geometry"].to_numpy(dtype=object)
    flow = lying.flow_lines["geometry"].to_numpy(dtype=object)
    enrolled = there.used("enrolment")
    closed: set[str] = set() if enrolled is None else _answered(enrolled, "closed")
    terrain = conservation.Terrain(
        outlines,
        lying.features,
        flow,
        lying.zone,
        lying.elevation.grid.crs,
        rows.Around(lying.elevation, asked, book),
    )
    with clock.step("measures"):
        # Rows are laid out for the day when the water has an outlet; until then they wait.
        dry = joined.loc[joined["slope_above_begins"] == water.RECORDED, "plot_id"]
        gathered = conservation.waiting(joined, terrain, asked, book, dry)
        flags = [
            (*own, conservation.GATHERED) if plot in gathered else own
            for plot, own in zip(joined["plot_id"], joined["outlet_flags"], strict=True)
        ]
        joined = joined.assign(outlet_flags=pd.Series(flags, index=joined.index, dtype=object))
        known = conservation.Known(
            standing=erosion.standing(joined["plot_id"], there.used("current_practice"), book),
            equations=erosion.Equations(asked, book),
            vetoes=there.used("vetoes"),
            onsets=there.used("onsets"),
            taking_part=None if enrolled is None else frozenset(_answered(enrolled, "takes_part")),
            closed=frozenset(closed),
        )
        sited = conservation.work_sites(joined.assign(geometry=outlines), flow, book)
        joined = join(joined, sited)
        joined = join(joined, conservation.ground(joined, outlines, lying.features))
        joined = join(joined, conservation.below(joined, outlines, lying.features, asked))
        proposal = conservation.propose(joined, known, asked, book)
    with clock.step("works"):
        proposal, works = conservation.lay_out(joined, proposal, terrain, known, asked, book)
    return join(joined, works.days), proposal, works


def _answered(enrolled: pd.DataFrame, question: str) -> set[str]:
    """Give the ids of plots that the file of who takes part says yes of."""
    return set(enrolled.loc[enrolled[question].eq(other=True), "plot_id"])


def _belts(features: pd.DataFrame, asked: Plan) -> inputs.Buffers:
    """Draw the belts of rivers and forest that aren't planted."""
    kinds = features["kind"].to_numpy(dtype=object)
    return inputs.buffers(kinds, rows.areas(features), asked)


def _bought(
    joined: pd.DataFrame,
    lying: _Lying,
    there: _Known,
    asked: Plan,
    book: Handbook,
    clock: Clock,
) -> inputs.Purchase:
    """Work out what is bought for those who take part."""
    with clock.step("purchase"):
        outlines = lying.on_zone["geometry"].to_numpy()
        beside = inputs.Beside(
            there.used("onsets"),
            there.used("stock"),
            there.used("arrived"),
            lying.belts,
        )
        return inputs.purchase(joined, outlines, there.used("enrolment"), asked, book, beside)


def _teaching(
    joined: pd.DataFrame,
    bought: inputs.Purchase,
    known: tuple[_Lying, _Known],
    planted: NDArray[np.object_],
    asked: tuple[Plan, Handbook],
    clock: Clock,
) -> demos.Allotment | None:
    """Choose demonstration plots, if the plan asks, and lay their halves out."""
    plan, book = asked
    if not plan.demos.asked:
        return None
    lying, there = known
    with clock.step("demos"):
        paths = _drawn_lines(lying.features, demos.PATHS)
        demos.require(plan, paths=len(paths) > 0)
        homes = there.used("homesteads")
        if homes is not None:
            homes = homes.assign(**_in_zone(homes, lying.zone))
        beside = demos.Beside(
            paths, there.used("enrolment"), there.used("answers"), homes, there.used("shown")
        )
        outlines = lying.on_zone["geometry"].to_numpy(dtype=object)
        kits = bought.kits[["plot_id", "farmer_id", "order_line"]]
        facts = demos.facts(join(joined, kits), outlines, beside, plan)
        chosen = demos.allot(facts, _ways(facts, paths, lying, plan, book), plan.demos, book)
        # What says that no rows are set out yet must not be handed halves.
        barred = joined.loc[wording.barred(joined), "plot_id"]
        ready = chosen.chosen[~chosen.chosen["plot_id"].isin(barred)]
        laid = demos.layouts(ready, joined, planted, plan.demos, book)
    return dataclasses.replace(chosen, laid=laid)


def _drawn_lines(features: pd.DataFrame, kinds: tuple[str, ...]) -> NDArray[np.object_]:
    """Give features of some kinds as lines: polygons by their edges."""
    shapes = features.loc[features["kind"].isin(kinds), "geometry"].to_numpy(dtype=object)
    areas = shapely.get_dimensions(shapes) > 1
    lines = shapes.copy()
    lines[areas] = shapely.boundary(shapes[areas])
    return lines


def _in_zone(homes: pd.DataFrame, zone: CRS) -> dict[str, Floats]:
    """Bring homesteads from degrees to metres of the zone."""
    degrees = homes[["longitude_deg", "latitude_deg"]].to_numpy(dtype=np.float64)
    points = np.array(shapely.points(degrees), dtype=object).reshape(-1)
    moved = geodesy.reproject(points, CRS.from_epsg(4326), zone)
    return {"x_m": shapely.get_x(moved), "y_m": shapely.get_y(moved)}


def _ways(
    facts: demos.Facts, paths: NDArray[np.object_], lying: _Lying, asked: Plan, book: Handbook
) -> travel.Links:
    """Measure ways from farmers to the plots that may show something, as the plan says."""
    wanted = asked.demos
    starts, ends = facts.people.place_m, facts.place_m[facts.open_plots]
    if wanted.reach_by == "straight line":
        return travel.straight(starts, ends, wanted.way_factor, wanted.reach_m or 0)
    if wanted.reach_by == "paths":
        return travel.by_paths(starts, ends, paths, wanted.way_factor, wanted.reach_m or 0)
    return _on_foot((starts, ends), paths, lying, book, (wanted.reach_min or 0, "[demos] reach_by"))


def _on_foot(
    ends: tuple[Floats, Floats],
    paths: NDArray[np.object_],
    lying: _Lying,
    book: Handbook,
    limit: tuple[float, str],
) -> travel.Links:
    """Measure ways on foot over the terrain, up to some minutes that a key of the plan has."""
    crs, walking, (most, key) = lying.elevation.grid.crs, travel.Walking.of(book), limit

    def on_raster(shapes: NDArray[np.object_]) -> NDArray[np.object_]:
        return geodesy.reproject(shapes, lying.zone, crs)

    streams = _drawn_lines(lying.features, ("stream",))
    land = travel.land(
        lying.elevation,
        _points_on_raster(ends[0], lying),
        _points_on_raster(ends[1], lying),
        (on_raster(paths), on_raster(streams)),
        walking.farthest_m(most) / 2,
        key,
    )
    return travel.on_foot(land.ground, land.starts_m, land.ends_m, walking, (land.block, most))


def _points_on_raster(points: Floats, lying: _Lying) -> Floats:
    """Bring points from metres of the zone to the raster's CRS."""
    shapes = np.array(shapely.points(points), dtype=object).reshape(-1)
    moved = geodesy.reproject(shapes, lying.zone, lying.elevation.grid.crs)
    found: Floats = shapely.get_coordinates(moved)
    return found


class _Ready(NamedTuple):
    """What visits go by."""

    joined: pd.DataFrame
    bought: inputs.Purchase
    proposal: conservation.Proposal
    teaching: demos.Allotment | None


def _visited(
    ready: _Ready,
    typed: _Beside,
    known: tuple[_Lying, _Known],
    asked: tuple[Plan, Handbook],
    clock: Clock,
) -> tuple[visits.VisitPlan | None, dict[str, Given]]:
    """Plan who visits which plot on which day, if the plan asks; give leave and what is fixed."""
    plan, book = asked
    lying, there = known
    agents = there.used("agents")
    if agents is None:
        return None, {}
    with clock.step("visits"):
        visits.require(
            there.given["agents"], plan.visits.agents or "", least=1, most=visits.AGENTS_MAX
        )
        leave = visits.accept_leave(typed.tables["leave"].frame, set(agents["agent_id"]))
        visits.require(leave, plan.visits.leave or "")
        if plan.visits.carried_on:
            visits.require(there.given["carried_on"], plan.visits.carried_on)
        trips = visits.accept_trips(typed.tables["trips"].frame, set(agents["agent_id"]))
        calendar, villages = ready.bought.calendar, sorted(ready.joined["village"].unique())
        observed = visits.accept_observed(
            typed.tables["observed"].frame, villages, visits.seen_days(calendar),
            plan.visits.made_on,
        )  # fmt: skip
        dated = visits.dated(
            calendar, _zone_of(there), plan.visits.season, observed.used, (villages, book)
        )
        agents, recorded = visits.calibrated(agents, trips.used, dated.onset, plan.visits.trips_min)
        ground, degrees, in_zone = _ground(ready, lying, there, plan)
        table = visits.units(ground, dated, visits.policy(plan, book))
        by_hand = visits.accept_by_hand(
            typed.tables["by_hand"].frame, visits.fixable(table, ground, dated, agents)
        )
        own = visits.numbered(visits.with_hand(table, ground, dated, by_hand.used))
        carried = there.used("carried_on")
        stood = None if carried is None else visits.before(own, agents, carried)
        days = visits.season_days(own, agents, leave.used, plan, stood)
        bases = np.stack(list(_in_zone(agents, lying.zone).values()), axis=1)
        at = np.concatenate([bases, in_zone[0][own.meetings], in_zone[1][own.plots]])
        speeds = visits.speeds(agents)
        slower, on_foot = _walked(agents, trips.used, plan, book)
        modes = _by_modes(at, speeds, agents, lying, (plan, book), slower)
        measured = visits.Measured(
            speeds, visits.ways_of(modes.minutes, modes.metres), _heads_deg(modes, lying.zone)
        )
        season = visits.Season(own, agents, *days, dated.onset, measured)
        planned = visits.plan(season, visits.effort(plan), visits.wanted(plan), stood)
        places = pd.concat(
            [degrees[0].iloc[own.meetings], degrees[1].iloc[own.plots]], ignore_index=True
        )
        stages = visits.stage_table(calendar, _zone_of(there), dated, plan, book)
        found = visits.told(season, planned, stages, places, carried)
    more = {"observed": observed, "leave": leave, "by_hand": by_hand, "trips": trips}
    found = dataclasses.replace(found, speeds=pd.concat([recorded, on_foot]))
    return found, {key: given for key, given in more.items() if key in typed.named}


def _zone_of(there: _Known) -> dict[str, str]:
    """Give the zone of onset of each village that has one."""
    onsets = there.used("onsets")
    return {} if onsets is None else dict(zip(onsets["village"], onsets["zone"], strict=True))


def _ground(
    ready: _Ready, lying: _Lying, there: _Known, plan: Plan
) -> tuple[visits.Ground, tuple[pd.DataFrame, pd.DataFrame], tuple[Floats, Floats]]:
    """Say who is visited and where sessions are held: as tables, in degrees, and in the zone."""
    joined, enrolled = ready.joined, there.used("enrolment")
    standing = erosion.standing(joined["plot_id"], there.used("current_practice"), there.book)
    plots = visits.plots(
        joined,
        visits.About(
            demos=set() if ready.teaching is None else set(ready.teaching.chosen["plot_id"]),
            structures={
                *standing.loc[standing["structure"] != "", "plot_id"],
                *ready.proposal.chosen["plot_id"],
            },
            taking_part=None if enrolled is None else _answered(enrolled, "takes_part"),
            closed=set() if enrolled is None else _answered(enrolled, "closed"),
        ),
        plan,
    )
    inside = shapely.point_on_surface(lying.on_zone["geometry"].to_numpy(dtype=object))
    plots_m = shapely.get_coordinates(inside)
    listed = there.used("meeting_places")
    listed = pd.DataFrame(columns=list(visits.MEETING_PLACES)) if listed is None else listed
    places_m = np.stack(list(_in_zone(listed, lying.zone).values()), axis=1)
    shown = np.flatnonzero(plots["demo"])
    meetings = visits.meetings(plots, listed)
    meetings_m = np.concatenate([plots_m[shown], places_m])
    wanted = plan.visits
    near = travel.straight(plots_m, meetings_m, wanted.way_factor, wanted.walk_m)
    degrees = joined[["plot_id", "longitude_deg", "latitude_deg"]]
    both_deg = pd.concat([degrees.iloc[shown], listed[["longitude_deg", "latitude_deg"]]])
    return visits.Ground(plots, meetings, near), (both_deg, degrees), (meetings_m, plots_m)


def _by_modes(
    places_m: Floats,
    speeds: list[float],
    agents: pd.DataFrame,
    lying: _Lying,
    asked: tuple[Plan, Handbook],
    slower: float,
) -> travel.Modes:
    """Measure ways by each speed as the plan says, those on foot so many times as long."""
    plan, book = asked
    wanted, walking = plan.visits, travel.Walking.of(book)
    paths = _drawn_lines(lying.features, demos.PATHS)
    roads = _drawn_lines(lying.features, visits.ROADS)
    visits.require_lines(plan, paths=len(paths) > 0, roads=len(roads) > 0)
    longest = float((agents["to"] - agents["from"]).max())

    def walk(points: Floats) -> Floats:
        straight = travel.straight_minutes(points, wanted.way_factor, walking)
        if wanted.walk_by == "straight line":
            return straight
        if wanted.walk_by == "paths":
            return travel.path_minutes(points, paths, wanted.way_factor, walking)
        links = _on_foot((points, points), paths, lying, book, (longest, "[visits] walk_by"))
        off = travel.off(lying.elevation.grid, _points_on_raster(points, lying))
        return travel.beyond(links.whole(len(points), len(points)), off, straight)

    def paced(points: Floats) -> Floats:
        return slower * walk(points)

    riding = travel.Riding(roads if wanted.ride_by == "roads" else None, wanted.way_factor)
    dry = travel.by_modes(places_m, paced, riding, speeds)
    if wanted.roads_closed is None:
        return dry
    still = _drawn_lines(visits.open_in_rains(lying.features, plan), visits.ROADS)
    rains = travel.by_modes(places_m, paced, riding._replace(roads=still), speeds)
    return travel.Modes(
        [*dry.minutes, *rains.minutes], [*dry.metres, *rains.metres], [*dry.heads_m, *rains.heads_m]
    )


def _heads_deg(modes: travel.Modes, zone: CRS) -> list[Floats | None]:
    """Bring roadheads from metres of the zone to degrees."""
    found: list[Floats | None] = []
    for heads in modes.heads_m:
        if heads is None:
            found.append(None)
            continue
        points = np.array(shapely.points(heads), dtype=object)
        found.append(shapely.get_coordinates(geodesy.reproject(points, zone, CRS.from_epsg(4326))))
    return found


def _walked(
    agents: pd.DataFrame, trips: pd.DataFrame, plan: Plan, book: Handbook
) -> tuple[float, pd.DataFrame]:
    """Say how much slower than the rule people walk, by trips; over the terrain the rule stands."""
    by = plan.visits.walk_by
    level = travel.Walking.of(book).level_km_h(path=by == "paths")
    # How a trip rises isn't known.
    used = trips.iloc[:0] if by == "on foot" else trips
    return visits.walked(agents, used, level, plan.visits.trips_min)


def _pegs(
    on_zone: pd.DataFrame,
    joined: pd.DataFrame,
    lines: rows.Rows,
    guides: rows.Guides,
    asked: Plan,
    book: Handbook,
) -> rows.Pegs:
    """Set out guide lines, and a row of each plot that gets a sheet, where rows may be set."""
    printed = np.zeros(len(joined), dtype=bool)
    printed[sheets.chosen(joined, asked)] = True
    wanted = printed | joined["plot_id"].isin(guides.lines["plot_id"]).to_numpy()
    plots = joined.assign(geometry=on_zone["geometry"].to_numpy())[wanted]
    # What says that no rows are set out yet must not be handed pegs.
    return rows.control_pegs(plots[~wording.barred(plots)], lines, guides, asked, book)


def _error(
    land: vector.Land | None,
    elevation: raster.Raster,
    asked: Plan,
    book: Handbook,
    clock: Clock,
) -> tuple[terrain.Estimate | None, Plan]:
    """Estimate the raster's error where the plan names land for it, and put it into the plan."""
    if land is None:
        return None, asked
    with clock.step("reference land"):
        fields = geodesy.reproject(land.outlines, land.crs, elevation.grid.crs)
        estimate = terrain.estimate_error(fields, elevation, book, land.name)
    return estimate, asked.with_error(estimate.vertical_error_m, estimate.error_correlation_m)


def run(plan: Path, out: Path, *, replace: bool = False, progress: Progress = silent) -> Results:
    """Work out a plan and write the run folder.

    Parameters
    ----------
    plan : Path
        The plan file.
    out : Path
        The run folder: new, or an older run if ``replace``.
    replace : bool, default False
        Whether an older run there may be replaced.
    progress : Callable[[str, float], None], default silent
        Called with the name of a step and the share of it that is done.

    Returns
    -------
    Results
        All that was found.

    Raises
    ------
    PlanError
        If the plan has faults; all are told together.
    InputError
        If a file that it names can't be used, or none of its plots can.
    OutputError
        If the run folder can't be written.
    """
    run_folder.check_target(out, replace=replace)
    results = find(plan, progress)
    clock = Clock(progress)
    with clock.step("pages and files"):
        run_folder.write_run(out, render_all(results), replace=replace)
    return results


def demo(folder: Path, progress: Progress = silent) -> Results:
    """Write an invented district and run it.

    Parameters
    ----------
    folder : Path
        Where to: the files of the district in ``district``, the run in ``run``.
    progress : Callable[[str, float], None], default silent
        Called with the name of a step and the share of it that is done.

    Returns
    -------
    Results
        All that was found.

    Raises
    ------
    OutputError
        If other files stand in the way.
    """
    clock = Clock(progress)
    with clock.step("district"):
        new_files.write_new(folder / "district", make())
    return run(folder / "district" / "plan.toml", folder / "run", replace=True, progress=progress)


def new(folder: Path, plots: Path | None = None) -> tuple[Path, list[intake.Guess]]:
    """Write a starter plan.

    Parameters
    ----------
    folder : Path
        Where to.
    plots : Path | None, default None
        A plots file, whose columns are guessed.

    Returns
    -------
    plan : Path
        The plan file.
    guesses : list[Guess]
        What was guessed, each with its reason.

    Raises
    ------
    InputError
        If the plots file can't be read.
    OutputError
        If a plan stands there already.
    """
    guesses = []
    if plots is not None:
        draft = columns.read_draft(plots, folder)
        guesses = [intake.Guess("plots", draft.name, "the file that the draft is made from")]
        guesses += intake.guess(
            draft.columns, draft.geometry, draft.id_column, crs_known=draft.crs_known
        )
        if len(draft.layers) > 1:
            layers = ", ".join(ascii(name) for name in draft.layers)
            guesses.append(intake.Guess("plots_layer", draft.layers[0], f"its layers: {layers}"))
    known = {each.key: (each.value, each.why) for each in guesses}
    new_files.write_new(folder, {"plan.toml": plan_file.starter_plan(known).encode()})
    return folder / "plan.toml", guesses


def explain(plan: Path, plot_id: str, progress: Progress = silent) -> list[Step]:
    """Tell how each number of a plot came about.

    Parameters
    ----------
    plan : Path
        The plan file.
    plot_id : str
        Id of the plot.
    progress : Callable[[str, float], None], default silent
        Called with the name of a step and the share of it that is done.

    Returns
    -------
    list[Step]
        One step a number, in the order of the job.

    Raises
    ------
    InputError
        If there is no such plot, or it was set aside.
    """
    return explanation.explain(find(plan, progress), plot_id, Texts.load("en"))


def sources(plan: Path | None = None) -> list[Entry]:
    """List the published numbers in force.

    Parameters
    ----------
    plan : Path | None, default None
        A plan whose own tables count; without one, the package's.

    Returns
    -------
    list[Entry]
        One entry a row of a table.
    """
    if plan is None:
        return listing(handbook.packaged())
    return listing(practice_file.read_handbook(plan_file.read_plan(plan)))
