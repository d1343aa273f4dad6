"""The interactive map: one HTML file that needs no network and no other file.

The page is put together by replacing the markers of ``template.html`` in one pass over the
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
from dataclasses import dataclass
from importlib import metadata, resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from districtplan.outputs.page import content

if TYPE_CHECKING:
    from collections.abc import Mapping

    from districtplan.outputs.texts import Texts
    from districtplan.results import Results

PAGE = "index.html"
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


def render(results: Results, texts: Texts) -> dict[str, bytes]:
    """Make the district's page.

    Parameters
    ----------
    results : Results
        The run.
    texts : Texts
        The words.

    Returns
    -------
    dict[str, bytes]
        The page by its name in the run folder.
    """
    data = content.district(results, texts)
    words = texts.section("page")
    heading = {
        "language": texts.language,
        "title": texts.say("page.title", district=results.plan.district.name),
        "district": results.plan.district.name,
        "season": texts.say("page.season", date=data["planting_date"]),
        "finding": data["findings"]["steep"][0],
        "rest": " ".join(data["findings"]["steep"][1:]),
        "no_script": words["no_script"],
        "skip": words["skip"],
    }
    return {PAGE: assemble(data, heading, assets()).encode("utf-8")}


def assemble(data: Mapping[str, Any], heading: Mapping[str, str], parts: Assets) -> str:
    """Put a page together.

    Parameters
    ----------
    data : Mapping[str, Any]
        What the script draws.
    heading : Mapping[str, str]
        What the page says before its script runs, by marker; escaped here.
    parts : Assets
        Style and scripts.

    Returns
    -------
    str
        The page.
    """
    own = resources.files(__name__)
    scripts = "\n".join(f"<script>{script}</script>" for script in parts.scripts)
    values = {name: html.escape(text) for name, text in heading.items()}
    values |= {
        "policy": html.escape(policy(parts)),
        "licence": f"<!--\n{parts.licence}\n-->",
        "style": f"<style>{parts.style}</style>",
        "data": embedded(data),
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


def policy(parts: Assets) -> str:
    """Write the page's content security policy.

    Digests, not a random nonce: the same input gives the same bytes.

    Parameters
    ----------
    parts : Assets
        Style and scripts.

    Returns
    -------
    str
        The policy.
    """
    scripts = " ".join(_digest(script) for script in parts.scripts)
    return (
        f"default-src 'none'; script-src {scripts}; style-src {_digest(parts.style)}; "
        "img-src data: blob:; base-uri 'none'; form-action 'none'"
    )


def assets() -> Assets:
    """Read style and scripts from this package and from the map library's.

    Returns
    -------
    Assets
        The parts of every page.
    """
    own = resources.files(__name__)
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
    script = re.sub(r"\n//# sourceMappingURL=.*", "", text("leaflet.js"))
    return Assets(
        f"{style}\n{own.joinpath('style.css').read_text(encoding='utf-8')}",
        (script, own.joinpath("map.js").read_text(encoding="utf-8")),
        str(library.read_text("LICENSE")).replace("--", "- -"),
    )


def _digest(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode('utf-8')).digest()).decode()}'"
