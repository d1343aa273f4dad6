"""The address of pictures of the ground on a server, and the one server that a page may ask."""

from __future__ import annotations

import re

SCHEME = "https://"
PLACES = ("{z}", "{x}", "{y}")
"""What stands for the zoom level and the column and row of a picture."""
EXAMPLE = "https://tiles.example.org/{z}/{x}/{y}.png"
LABEL = "[A-Za-z0-9]([A-Za-z0-9-]{0,61}[A-Za-z0-9])?"
SERVER = re.compile(rf"{LABEL}(\.{LABEL})*(:[0-9]{{1,5}})?")
"""Name of a server (RFC 1123) and its port."""
PATH = re.compile(r"[A-Za-z0-9._~!$&'()*+,;=:@%/?-]*")
"""What may stand behind it (RFC 3986), but for the places."""


def checked(address: str) -> str:
    """Check an address; what is wrong is said as a plan's messages say it.

    Parameters
    ----------
    address : str
        What the plan gives.

    Returns
    -------
    str
        The same.

    Raises
    ------
    ValueError
        If it is no address of pictures, or of more than one server, or holds a password.
    """
    if not address.startswith(SCHEME):
        raise ValueError(f"doesn't start with {SCHEME}")
    server, _, path = address.removeprefix(SCHEME).partition("/")
    if "@" in server:
        raise ValueError("holds a user's name or password, which every page would give away")
    if "{" in server or "}" in server:
        raise ValueError("has braces in the server's name: a page may ask one server alone")
    if not SERVER.fullmatch(server):
        raise ValueError("doesn't name a server in plain letters, digits, dots and hyphens")
    rest = path
    for place in PLACES:
        if path.count(place) != 1:
            raise ValueError(f"doesn't have {place} once")
        rest = rest.replace(place, "")
    if "{" in rest or "}" in rest:
        raise ValueError("has braces about something else than {z}, {x} and {y}")
    if not PATH.fullmatch(rest):
        raise ValueError("has a character that no address may have, or #")
    return address


def server_of(address: str) -> str:
    """Give the one server that pictures come from.

    Parameters
    ----------
    address : str
        As :func:`checked` lets it pass.

    Returns
    -------
    str
        Scheme, name and port, as a content security policy names it.
    """
    server, _, _ = address.removeprefix(SCHEME).partition("/")
    return f"{SCHEME}{server.lower()}"
