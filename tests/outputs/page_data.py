"""Reads the pages of a run back, by an independent reader of their format."""

from __future__ import annotations

import base64
import json
import re
import zlib

LOADED = re.compile(r'\Adistrictplan\.take\("([^"]+)", "([^"]*)"\);\n\Z')


def block_of(text):
    """Read what a page holds from the start."""
    block = re.search(r'<script type="application/json" id="data">(.*?)</script>', text, re.DOTALL)
    return json.loads(block[1])


def held_in(text):
    """Read what a page needn't load, by name."""
    held = re.findall(r'<script type="text/plain" id="held-([^"]+)">(.*?)</script>', text)
    return {name: inflated(packed) for name, packed in held}


def loaded_from(script):
    """Read what a script beside the page hands to it."""
    name, packed = LOADED.match(script.decode("ascii")).groups()
    return name, inflated(packed)


def inflated(packed):
    return json.loads(zlib.decompress(base64.b64decode(packed)))


def naturals(text):
    """Read a stream of natural numbers."""
    values, value, shift = [], 0, 0
    for byte in base64.b64decode(text):
        value |= (byte & 127) << shift
        shift += 7
        if byte < 128:
            values.append(value)
            value, shift = 0, 0
    return values


def signed(value):
    return -(value + 1) // 2 if value % 2 else value // 2


def known(value):
    return signed(value - 1) if value else None


def numbers_of(columns, count):
    """Unpack columns of numbers, in steps of their last decimal."""
    return {
        name: {
            "digits": column["digits"],
            "values": [known(v) for v in naturals(column["packed"])]
            if column["packed"] is not None
            else [None] * count,
        }
        for name, column in columns.items()
    }


def words_of(columns):
    """Unpack columns of texts."""
    return {
        name: [column["texts"][v - 1] if v else None for v in naturals(column["packed"])]
        for name, column in columns.items()
    }


def files_of(folder):
    """Read the pages of a run folder."""
    names = ["index.html", *(f"map/{path.name}" for path in (folder / "map").iterdir())]
    return {name: (folder / name).read_bytes() for name in names}


def data_of(files):
    """Put together what the district's page holds and what it would load, all villages of it."""
    data = block_of(files["index.html"].decode("utf-8"))
    data["search"] = loaded_from(files["map/search.js"])[1]
    data["totals"] = numbers_of(data["totals"]["numbers"], len(data["villages"]["names"]))
    data["district"] = numbers_of(data["district"]["numbers"], 1)
    told = [loaded_from(files[f"map/{stem}.js"])[1]["plots"] for stem in data["files"]["villages"]]
    data["plots"] = plots = {
        "id": [one for village in told for one in village["id"]],
        "farmers": [one for village in told for one in village.get("farmer_name", [])],
        "texts": {text for village in told for text in village["notes"]["texts"]},
        "readings": {"slope": {}, "bearing": {}},
        "said": {},
    }
    for part in ("plots", "kit", "measure"):
        numbers, words = {}, {}
        for village in told:
            columns = village if part == "plots" else village[part]
            for name, column in numbers_of(columns["numbers"], len(village["id"])).items():
                both = numbers.setdefault(name, {"digits": column["digits"], "values": []})
                both["values"] += column["values"]
            for name, column in words_of(columns["words"]).items():
                words.setdefault(name, []).extend(column)
        (plots if part == "plots" else plots.setdefault(part, {})).update(
            numbers=numbers, words=words
        )
    for village in told:
        notes, ids = village["notes"], village["id"]

        def say(places, notes=notes):
            return [notes["texts"][place] for place in places]

        for at, plot_id in enumerate(ids):
            excluded = notes["excluded"][at]
            plots["said"][plot_id] = {
                "method": say(notes["method"][at]),
                "flags": say(notes["flags"][at]),
                "excluded": None if excluded is None else notes["texts"][excluded],
                "lines": say(notes["lines"].get(str(at), [])),
                "teach": say(notes["teach"][at]) if notes["teach"] else [],
            }
        for kind, told_by in village["readings"].items():
            plots["readings"][kind] |= {ids[int(at)]: said for at, said in told_by.items()}
    return data
