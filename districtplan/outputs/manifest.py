"""What went into a run and what came out, so that it can be checked and repeated."""

from __future__ import annotations

import hashlib
import json
import platform
from dataclasses import asdict
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

import pyogrio
import pyproj
import rasterio
import shapely

from districtplan.outputs.file_names import without_folder
from districtplan.outputs.texts import Texts
from districtplan.tables import DICTIONARY_VERSION

if TYPE_CHECKING:
    from collections.abc import Mapping

    from districtplan.results import Results

PACKAGES = (
    "contourpy",
    "fpdf2",
    "geopandas",
    "numpy",
    "pandas",
    "pillow",
    "pyarrow",
    "pydantic",
    "pygeomag",
    "pyogrio",
    "pyproj",
    "rapidfuzz",
    "rasterio",
    "scipy",
    "shapely",
    "uharfbuzz",
    "xlsxwriter",
)
NAMING = {
    "demos": ("homesteads", "answers", "shown"),
    "visits": ("agents", "leave", "meeting_places", "by_hand", "observed", "carried_on", "trips"),
}
"""Keys of other sections that name files."""
NO_FILE = ("_layer", "_crs", "_column")
"""Endings of keys of ``[files]`` that name no file."""


def render(results: Results, outputs: Mapping[str, bytes]) -> dict[str, bytes]:
    """Write the manifest.

    ``readings_against_raster`` is None without readings; its lists of spreads, that of the district
    first, are empty under the least number of readings, its errors None where readings can't tell.
    ``other_rasters`` holds what each other raster would serve (:class:`terrain.Forecast`).
    ``demos`` is there where the plan asks for demonstration plots: value, bound and gap of the
    choice, and ``reproducible``, false where the clock stopped the search. ``visits`` is there
    where it names agents: visits by what became of them, days in the field, minutes on the way.
    ``texts_in_english`` are the keys that the plan's language lacks, where it lacks any.

    It names no folder of the machine and no host, and reads no clock: ``seconds`` is all that may
    differ between equal runs.

    Parameters
    ----------
    results : Results
        The run.
    outputs : Mapping[str, bytes]
        All other files of the run, by name.

    Returns
    -------
    dict[str, bytes]
        ``run.json``.
    """
    inputs = sorted(results.input_sha256.items())
    manifest = {
        "districtplan": version("districtplan"),
        "dictionary_version": DICTIONARY_VERSION,
        "python": platform.python_version(),
        "packages": {name: version(name) for name in PACKAGES} | _libraries(),
        "settings": _settings(results),
        "inputs": [{"name": without_folder(name), "sha256": digest} for name, digest in inputs],
        "counts": {
            "plots": results.rows_read,
            "plots_used": len(results.plots),
            "set_aside": len(results.set_aside),
            "villages": len(results.villages),
            **_readings(results),
            **_features(results),
            **_beside(results),
            **({} if results.demos is None else {"demos": len(results.demos.chosen)}),
            **({} if results.visits is None else {"visits": len(results.visits.visits)}),
        },
        "handbook": [
            {"table": name, "title": table.title, "sha256": table.sha256}
            for name, table in sorted(results.handbook.tables.items())
        ],
        "error_estimate": None if results.estimate is None else asdict(results.estimate),
        "readings_against_raster": _calibration(results),
        "other_rasters": [asdict(forecast) for forecast in results.forecasts],
        **_demos(results),
        **_visits(results),
        **_in_english(results),
        "warnings": list(results.warnings),
        "outputs": [
            {"name": name, "sha256": hashlib.sha256(content).hexdigest()}
            for name, content in sorted(outputs.items())
        ],
        "seconds": {step: round(float(time), 3) for step, time in results.seconds.items()},
    }
    text = json.dumps(manifest, ensure_ascii=False, indent=2, allow_nan=False)
    return {"run.json": f"{text}\n".encode()}


def _settings(results: Results) -> dict[str, Any]:
    settings: dict[str, Any] = results.plan.model_dump(mode="json")
    files = settings["files"]
    for key, name in files.items():
        if isinstance(name, list):
            files[key] = [without_folder(each) for each in name]
        elif name is not None and not key.endswith(NO_FILE):
            files[key] = without_folder(name)
    for section, keys in NAMING.items():
        for key in keys:
            if settings[section][key] is not None:
                settings[section][key] = without_folder(settings[section][key])
    if settings["practice"]["file"] is not None:
        settings["practice"]["file"] = without_folder(settings["practice"]["file"])
    land = settings["elevation"]["reference_land"]
    if land is not None:
        settings["elevation"]["reference_land"] = without_folder(land)
    return settings


def _readings(results: Results) -> dict[str, int]:
    if results.plan.files.readings is None:
        return {}
    return {
        "readings": results.readings.rows_read,
        "readings_used": len(results.readings.compared),
        "readings_set_aside": len(results.readings.set_aside),
    }


def _calibration(results: Results) -> dict[str, Any] | None:
    if results.plan.files.readings is None:
        return None
    found = results.readings.calibration
    return {
        "slopes_pct": [asdict(spread) for spread in found.slopes],
        "bearings_deg": [asdict(spread) for spread in found.bearings],
        "outside": list(found.outside),
        "vertical_error_m": found.vertical_error_m,
        "vertical_error_se_m": found.vertical_error_se_m,
    }


def _features(results: Results) -> dict[str, int]:
    if results.plan.files.features is None:
        return {}
    return {
        "features": results.features.rows_read,
        "features_used": len(results.features.used),
        "features_set_aside": len(results.features.set_aside),
    }


def _beside(results: Results) -> dict[str, int]:
    counts = {}
    for key, rows in results.beside.items():
        counts[key] = rows.rows_read
        counts[f"{key}_used"] = len(rows.used)
        counts[f"{key}_set_aside"] = len(rows.set_aside)
    return counts


def _in_english(results: Results) -> dict[str, Any]:
    """Tell which texts another language lacks, so that a translator sees what is left."""
    lacking = Texts.load(results.plan.page.language).in_english
    return {"texts_in_english": list(lacking)} if lacking else {}


def _demos(results: Results) -> dict[str, Any]:
    """Tell how good the choice of demonstration plots is for certain; None without a choice."""
    found = results.demos
    if found is None:
        return {}
    cover = found.cover
    return {
        "demos": {
            "farmers": found.farmers,
            "farmers_reached": found.farmers_reached,
            "farmers_near_a_candidate": found.farmers_near,
            "value": None if cover is None else cover.value,
            "bound": None if cover is None else cover.bound,
            "gap": None if cover is None else cover.gap,
            "greedy_value": None if cover is None else cover.greedy_value,
            "reproducible": None if cover is None else cover.reproducible,
            "candidates_thinned_out": found.thinned,
            "conflicts": int(found.conflicts["demo_conflict"].nunique()),
        }
    }


def _visits(results: Results) -> dict[str, Any]:
    """Tell what became of visits; nothing where the plan names no agents."""
    found = results.visits
    if found is None:
        return {}
    status = found.visits["visit_status"].value_counts()
    return {
        "visits": {
            **{str(name): int(count) for name, count in sorted(status.items())},
            "days": len(found.days),
            "ways_min": int(found.days["day_way_min"].sum()),
            "reproducible": found.reproducible,
        }
    }


def _libraries() -> dict[str, str]:
    return {
        "GDAL (plots)": pyogrio.__gdal_version_string__,
        "GDAL (elevation)": rasterio.__gdal_version__,
        "GEOS": shapely.geos_version_string,
        "PROJ": pyproj.proj_version_str,
    }
