"""The interactive map, which needs no network: a page of the district, and pages of its villages.

The district's page loads a village's plots when they are asked for, by a script beside it: other
ways to read a file are shut to a page that was opened from a disk. A village's page holds them, so
that it can be sent to a phone by itself.

A page is put together by replacing the markers of ``template.html`` in one pass over the
template alone, so nothing that is put in can hold a marker. Data goes into a JSON block; the
page's script shows it as text. The page's content security policy names its scripts and its style
by digest, so nothing else can run, whatever the data holds.
"""

from __future__ import annotations

import base64
import hashlib
import html
import json
import re
import zlib
from dataclasses import dataclass
from importlib import metadata, resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from districtplan import tile_address
from districtplan.outputs import work_words
from districtplan.outputs.file_names import village_stems
from districtplan.outputs.page import columns, content, cut, heights, shapes, shown_names, work

if TYPE_CHECKING:
    from collections.abc import Mapping

    from districtplan.outputs.texts import Texts
    from districtplan.plan import Plan
    from districtplan.results import Results

PAGE = "index.html"
LOADED, PAGES, SEARCH, HEIGHTS = "map", "villages", "search", "heights"
SHEETS = "sheets"
SCRIPTS = (
    "packed.js",
    "plots.js",
    "loader.js",
    "search.js",
    "address.js",
    "heights.js",
    "words.js",
    "data.js",
    "look.js",
    "state.js",
    "elements.js",
    "places.js",
    "paths.js",
    "strokes.js",
    "fields.js",
    "dots.js",
    "water.js",
    "labels.js",
    "first.js",
    "curve.js",
    "teach.js",
    "visits.js",
    "canvas.js",
    "ground.js",
    "tiles.js",
    "loading.js",
    "map.js",
    "card.js",
    "copied.js",
    "worked.js",
    "opening.js",
    "village.js",
    "lists.js",
    "history.js",
    "filter.js",
    "search_box.js",
    "tables.js",
    "legend.js",
    "notes.js",
    "views.js",
    "print.js",
    "start.js",
)
"""Scripts of the page, each with its one job, in the order in which they need one another when
they begin. They are joined in one function, since a page opened from a disk loads no modules: what
one declares the others know."""
DEFLATE = 9
MAP_PACKAGE = "django-js-lib-leaflet"
MAP_FOLDER = "js_lib_leaflet/static/js_lib_leaflet"
MARKER = re.compile(r"<!--(\w+)-->")
STYLE_PICTURE = re.compile(r"url\((images/[\w.-]+\.png)\)")


@dataclass(frozen=True)
class Assets:
    """What every page of the map holds besides its data.

    Attributes
    ----------
    style : str
        The style sheet.
    scripts : tuple[str, ...]
        The map library, then the page's own script.
    licence : str
        Licence of the map library.
    """

    style: str
    scripts: tuple[str, ...]
    licence: str


def render(
    results: Results, texts: Texts, sheets: Mapping[str, int] | None = None
) -> dict[str, bytes]:
    """Make the district's page, the data of its villages, and pages of villages for phones.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.
    sheets : Mapping[str, int] | None, default None
        By plot, on which page of its village's file its sheet of paper begins, from 1.

    Returns
    -------
    dict[str, bytes]
        Files by name in the run folder: the page; in ``map/`` what it loads when that is asked
        for, a script a village, one to search by and one of lines of equal height that are seen
        from near only; in ``villages/`` a page a village that needs no other file, where they are
        not too many.
    """
    ordered = cut.in_order(results)
    parts = cut.villages(ordered)
    names = ordered.villages["village"].astype(str).tolist()
    stem_of = village_stems(names)
    stems = [stem_of[name] for name in names]
    paged = not doubts(len(parts), results.plan)
    origin, shell = shapes.origin_of(ordered.plots), assets()
    apart = heights.intervals(ordered.relief, results.plan.elevation.vertical_error_m)
    spoiling = _spoiling(ordered)
    core = _told(content.district(ordered, apart, origin, texts), spoiling)
    core["files"] = {"villages": stems, "pages": paged, "sheets": SHEETS}
    core["nonce"] = base64.b64encode(hashlib.sha256(embedded(core).encode()).digest()).decode()
    made = {PAGE: assemble(core, _heading(core, ordered, texts), shell, {}).encode()}
    made |= _loaded(SEARCH, packed(content.search(ordered, texts)))
    if apart is not None and apart.fine_m < apart.first_m:
        made |= _loaded(HEIGHTS, packed(heights.lines(ordered.relief, apart.fine_m, origin)))
    told = work_words.by_village(ordered, texts, work.HILLS_MAX) if paged else {}
    tree, start = content.plots(ordered, texts), 0
    for name, stem, part in zip(names, stems, parts, strict=True):
        end = start + len(part.plots)
        told_of = columns.cut(tree, start, end) | content.sheets(part, sheets or {})
        told_of["notes"] = shown_names.in_sentences(told_of["notes"], spoiling)
        own = packed(content.village(part, told_of, origin))
        start = end
        made |= _loaded(stem, own)
        if not paged:
            continue
        own_hills = told.get(name, ([], 0))
        core = _told(content.village_page(part, own_hills, apart, origin, texts), spoiling)
        core["files"] = {"villages": [stem], "pages": False, "sheets": f"../{SHEETS}"}
        loaded = {stem: own, SEARCH: packed(content.search(part, texts))}
        heading = _heading(core, part, texts, shown_names.shown(name))
        page = assemble(core, heading, shell, loaded)
        made[f"{PAGES}/{stem}.html"] = page.encode()
    return made


def doubts(villages: int, plan: Plan) -> list[str]:
    """Say if the pages of villages aren't written.

    Parameters
    ----------
    villages : int
        How many there are.
    plan : Plan
        Its section ``page``.

    Returns
    -------
    list[str]
        A sentence, or none.
    """
    most = plan.page.village_pages_max
    if villages <= most:
        return []
    return [
        f"{villages:,} villages are more than page.village_pages_max = {most:,}, so no page of a "
        "village by itself was written for phones. Raise page.village_pages_max, or copy "
        "index.html with the folder map to each phone."
    ]


def _spoiling(results: Results) -> dict[str, str]:
    """Give the names that would spoil the sentences they stand in: too long, or turning them."""
    names: list[object] = [*results.villages["village"], *results.plots["plot_id"]]
    if "work_site" in results.plots:
        names += results.plots["work_site"].tolist()
    if results.visits is not None:
        names += results.visits.agents["agent_id"].tolist()
    return shown_names.odd(names)


def _told(core: dict[str, Any], spoiling: Mapping[str, str]) -> dict[str, Any]:
    """Show names in sentences as they are shown alone; villages are found by their whole names."""
    return {
        key: part if key in ("villages", "odd") else shown_names.in_sentences(part, spoiling)
        for key, part in core.items()
    }


def _heading(
    data: Mapping[str, Any], results: Results, texts: Texts, village: str | None = None
) -> dict[str, str]:
    """Say what a page says before its script runs."""
    words, district = data["words"], results.plan.district.name
    first, *rest = data["findings"]["steep"]
    return {
        "language": texts.language,
        "title": texts.say("page.title", district=village or district),
        "district": district if village is None else f"{village} · {district}",
        "season": texts.say("page.season", date=data["planting_date"]),
        "finding": first,
        "rest": " ".join(rest),
        "no_script": words["no_script"],
        "skip": words["skip"],
    }


def _loaded(name: str, own: str) -> dict[str, bytes]:
    """Make the script that hands data to the page; both texts are plain ASCII of our own."""
    return {f"{LOADED}/{name}.js": f'districtplan.take("{name}", "{own}");\n'.encode("ascii")}


def packed(data: Mapping[str, Any]) -> str:
    """Deflate data, as what a page loads besides itself.

    Parameters
    ----------
    data : Mapping[str, Any]
        Anything that ``json.dumps`` takes.

    Returns
    -------
    str
        JSON, deflated (RFC 1950), in base 64.
    """
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return base64.b64encode(zlib.compress(text.encode(), DEFLATE)).decode("ascii")


def assemble(
    data: Mapping[str, Any], heading: Mapping[str, str], parts: Assets, loaded: Mapping[str, str]
) -> str:
    """Put a page together.

    Parameters
    ----------
    data : Mapping[str, Any]
        What the script draws.
    heading : Mapping[str, str]
        What the page says before its script runs, by marker; escaped here.
    parts : Assets
        Style and scripts.
    loaded : Mapping[str, str]
        What the page needn't load, by name, as :func:`packed` makes it.

    Returns
    -------
    str
        The page.
    """
    own = resources.files(__name__)
    scripts = "\n".join(f"<script>{script}</script>" for script in parts.scripts)
    held = (
        f'<script type="text/plain" id="held-{name}">{own}</script>' for name, own in loaded.items()
    )
    values = {name: html.escape(text) for name, text in heading.items()}
    values |= {
        "policy": html.escape(policy(parts, data.get("nonce"), data.get("tiles"))),
        "licence": f"<!--\n{parts.licence}\n-->",
        "style": f"<style>{parts.style}</style>",
        "data": embedded(data),
        "loaded": "\n".join(held),
        "scripts": scripts,
    }
    template = own.joinpath("template.html").read_text(encoding="utf-8")
    return MARKER.sub(lambda marker: values[marker[1]], template)


def embedded(data: Mapping[str, Any]) -> str:
    """Write data so that no text in it can end the block that holds it.

    Parameters
    ----------
    data : Mapping[str, Any]
        Anything that ``json.dumps`` takes.

    Returns
    -------
    str
        JSON without ``<``, ``>``, ``&`` and the two line ends that JavaScript knows and JSON
        doesn't.
    """
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


def policy(parts: Assets, nonce: str | None = None, tiles: Mapping[str, Any] | None = None) -> str:
    """Write the page's content security policy.

    The scripts of the page go by digest. Files beside it can't, so the script that loads them
    signs them with a number that is a digest of the page's data: the same input gives the same
    bytes, and no text in the data can know it.

    Parameters
    ----------
    parts : Assets
        Style and scripts.
    nonce : str | None, default None
        What signs scripts that are loaded; none are without it.
    tiles : Mapping[str, Any] | None, default None
        Pictures of the ground that the plan asks for; their server alone may be asked.

    Returns
    -------
    str
        The policy.
    """
    scripts = " ".join(_digest(script) for script in parts.scripts)
    if nonce is not None:
        scripts += f" 'nonce-{nonce}'"
    pictures = "data: blob:"
    if tiles is not None:
        pictures += f" {tile_address.server_of(tiles['address'])}"
    return (
        f"default-src 'none'; script-src {scripts}; style-src {_digest(parts.style)}; "
        f"img-src {pictures}; base-uri 'none'; form-action 'none'"
    )


def assets() -> Assets:
    """Read style and scripts from this package and from the map library's.

    Returns
    -------
    Assets
        The parts of every page.
    """
    own = resources.files(__name__)
    parts = [own.joinpath("script", name).read_text(encoding="utf-8") for name in SCRIPTS]
    script = "\n".join(['(() => {\n"use strict";\n', *parts, "})();\n"])
    library = metadata.distribution(MAP_PACKAGE)

    def foreign(name: str) -> bytes:
        # The files are read, nothing of that package is imported or run.
        return Path(str(library.locate_file(f"{MAP_FOLDER}/{name}"))).read_bytes()

    def text(name: str) -> str:
        # A browser reads CRLF as LF before it takes the digest.
        return foreign(name).decode("utf-8").replace("\r\n", "\n")

    def picture(found: re.Match[str]) -> str:
        return f"url(data:image/png;base64,{base64.b64encode(foreign(found[1])).decode('ascii')})"

    style = STYLE_PICTURE.sub(picture, text("leaflet.css"))
    # The script runs from inside the page, where its source map would be looked for in vain.
    leaflet = re.sub(r"\n//# sourceMappingURL=.*", "", text("leaflet.js"))
    return Assets(
        f"{style}\n{own.joinpath('style.css').read_text(encoding='utf-8')}",
        (leaflet, script),
        str(library.read_text("LICENSE")).replace("--", "- -"),
    )


def _digest(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode('utf-8')).digest()).decode()}'"
