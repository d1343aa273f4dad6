"""Signs of names: those that none should hold, since they change unseen what is shown; accents."""

from __future__ import annotations

import re
import unicodedata

# Controls, format signs (invisible, or turning the reading order), halves of surrogates, line ends.
CATEGORIES = {"Cc", "Cf", "Cs", "Zl", "Zp"}
# Signs of other categories that show nothing, and two that are no characters.
_UNSEEN = re.compile("[\u034f\u115f\u1160\u2800\u3164\uffa0\ufffe\uffff]")


def hidden(text: str) -> bool:
    """Tell whether text holds a control or invisible sign.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    bool
        Whether it does; such text can look like another, or like none.
    """
    if text.isascii():
        return not text.isprintable()
    return bool(_UNSEEN.search(text)) or any(
        unicodedata.category(sign) in CATEGORIES for sign in text
    )


def unaccented(name: str) -> str:
    """Take accents and capitals off a name.

    Parameters
    ----------
    name : str
        Any name.

    Returns
    -------
    str
        Its letters in lower case, each as one plain sign.
    """
    parted = unicodedata.normalize("NFKD", unicodedata.normalize("NFKC", name).casefold())
    return "".join(sign for sign in parted if not unicodedata.combining(sign))
