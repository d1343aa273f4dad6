"""The plan's keys as told to a user: what each expects, its default, its example."""

from __future__ import annotations

import functools
import json
import math
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any, get_args

from districtplan.plan import Plan, Section

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pydantic.fields import FieldInfo

# What the starter plan says where a key is required; a test holds that none is forgotten.
EXAMPLES: dict[tuple[str, str], object] = {
    ("plan", "version"): 1,
    ("district", "name"): "Invented Hills",
    ("district", "planting_date"): date(2026, 3, 15),
    ("files", "plots"): "plots.gpkg",
    ("files", "elevation"): ["elevation.tif"],
    ("elevation", "vertical_error_m"): 2.0,
    ("elevation", "error_correlation_m"): 30.0,
    ("demos.messages", "name"): "contour rows",
    ("demos.messages", "treatments"): ["certified seed", "rows on the contour"],
}


@dataclass(frozen=True)
class Key:
    """One key of the plan.

    Attributes
    ----------
    section : str
        Its section.
    name : str
        Its name.
    meaning : str
        What it is for.
    expects : str
        What values it takes, in words.
    required : bool
        Whether a plan must have it.
    default : object
        Value where it is absent; None where it is then left out.
    """

    section: str
    name: str
    meaning: str
    expects: str
    required: bool
    default: object


def sections() -> dict[str, type[Section]]:
    """List the plan's sections.

    Returns
    -------
    dict[str, type[Section]]
        Model of each, by name, in order.
    """
    found = {}
    for name, field in Plan.model_fields.items():
        if isinstance(field.annotation, type) and issubclass(field.annotation, Section):
            found[name] = field.annotation
    return found


def keys() -> dict[tuple[str, str], Key]:
    """List every key of the plan.

    Returns
    -------
    dict[tuple[str, str], Key]
        Keys by section and name, in order.
    """
    return {
        (section, key.name): key
        for section, model in sections().items()
        for key in _keys_of(section, model)
    }


def keys_of_tables() -> dict[tuple[str, str], Key]:
    """List every key of tables that stand in a list, each written ``[[section.key]]``.

    Returns
    -------
    dict[tuple[str, str], Key]
        Keys by the name of the list and their own, in order.
    """
    found = {}
    for section, model in sections().items():
        for name, field in model.model_fields.items():
            for inner in _tables_in(field):
                for key in _keys_of(f"{section}.{name}", inner):
                    found[key.section, key.name] = key
    return found


def _tables_in(field: FieldInfo) -> list[type[Section]]:
    """Give the model of the tables that a key is a list of."""
    lists = get_args(field.annotation)
    items = [item for part in lists for item in get_args(part)]
    return [item for item in items if isinstance(item, type) and issubclass(item, Section)]


@functools.cache
def _keys_of(section: str, model: type[Section]) -> tuple[Key, ...]:
    # A schema takes tens of milliseconds, and a starter plan asks for each many times.
    properties = model.model_json_schema()["properties"]
    return tuple(
        Key(
            section,
            name,
            field.description or "",
            expected(properties[name]),
            field.is_required(),
            None if field.is_required() else _default(field),
        )
        for name, field in model.model_fields.items()
    )


def _default(field: FieldInfo) -> object:
    value = field.get_default(call_default_factory=True)
    # Not a number: it comes from elsewhere where the plan leaves it out.
    return None if isinstance(value, float) and math.isnan(value) else value


def expected(schema: Mapping[str, Any]) -> str:
    """Say in words what a JSON schema accepts.

    Parameters
    ----------
    schema : Mapping[str, Any]
        Schema of one key.

    Returns
    -------
    str
        Such as "a number from 10 to 300".
    """
    kinds = [kind for kind in schema.get("anyOf", ()) if kind.get("type") != "null"]
    schema = kinds[0] if kinds else schema
    choices = [schema["const"]] if "const" in schema else schema.get("enum")
    if choices:
        return ("one of " if len(choices) > 1 else "") + ", ".join(map(literal, choices))
    if schema.get("format") == "date":
        return f"a date from {schema['minimum']} to {schema['maximum']}, such as 2026-03-15"
    kind = schema.get("type")
    if kind == "boolean":
        return "true or false"
    if kind == "array":
        return _list(schema)
    if kind == "string":
        return f"text in quotes, {schema['minLength']} to {schema['maxLength']} characters"
    return ("a whole number" if kind == "integer" else "a number") + _range(schema)


def _list(schema: Mapping[str, Any]) -> str:
    if "$ref" in schema["items"]:
        return f"a table for each, at most {schema['maxItems']}"
    if schema["items"].get("format") == "date":
        return f"a list of dates, such as [2026-03-15], at most {schema['maxItems']}"
    if schema["items"].get("type") == "string":
        return f'a list of names in quotes, such as ["a", "b"], at most {schema["maxItems"]}'
    exact = schema["minItems"] == schema["maxItems"]
    most = "" if exact else "at most "
    return f"a list of {most}{schema['maxItems']} numbers, each{_range(schema['items'])}"


def _range(schema: Mapping[str, Any]) -> str:
    low, high = schema.get("minimum"), schema.get("maximum")
    if low is not None and high is not None:
        return f" from {low:.12g} to {high:.12g}"
    words = []
    if low is not None:
        words.append(f"at least {low:.12g}")
    if "exclusiveMinimum" in schema:
        words.append(f"above {schema['exclusiveMinimum']:.12g}")
    if high is not None:
        words.append(f"at most {high:.12g}")
    if "exclusiveMaximum" in schema:
        words.append(f"below {schema['exclusiveMaximum']:.12g}")
    return " " + ", ".join(words) if words else ""


def literal(value: object) -> str:
    """Write a value as TOML.

    Parameters
    ----------
    value : object
        Text, number, truth value, date or a list of them.

    Returns
    -------
    str
        The value as it stands in a plan file.
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return "[" + ", ".join(literal(item) for item in value) + "]"
    if isinstance(value, str):
        # A JSON string is a TOML basic string; U+007F must be escaped in TOML alone.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, date):
        return value.isoformat()
    return repr(value)
