"""XML that declares nothing: no document type, no entities, no encoding but the file's."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

from districtplan.errors import Fault, InputError

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element


def root_of(text: str, name: str, kind: str) -> Element:
    """Give the root of a document.

    Parameters
    ----------
    text : str
        The document.
    name : str
        Name of the file as in the plan.
    kind : str
        What it should be, such as KML; its root has that name in small letters.

    Returns
    -------
    xml.etree.ElementTree.Element
        The root.

    Raises
    ------
    InputError
        If it declares anything, isn't XML or is of another kind.
    """
    if re.search(r"<!(?:DOCTYPE|ENTITY)", text, re.IGNORECASE):
        raise InputError(
            Fault(name, "declares a document type or entities", f"Export it again as plain {kind}")
        )
    try:
        # The text is decoded already: an encoding named in it could only mislead the parser.
        root = ET.fromstring(re.sub(r"^\s*<\?xml[^>]*\?>", "", text, count=1))
    except (ET.ParseError, ValueError, RecursionError) as error:
        raise InputError(Fault(name, f"isn't XML ({error})", "Export it again")) from error
    if tag(root) != kind.lower():
        raise InputError(
            Fault(name, f"isn't {kind}: it starts with <{tag(root)[:40]}>", f"Export it as {kind}")
        )
    return root


def tag(element: Element) -> str:
    """Name an element without its namespace.

    Parameters
    ----------
    element : xml.etree.ElementTree.Element
        The element.

    Returns
    -------
    str
        Its name.
    """
    return element.tag.rsplit("}", 1)[-1]
