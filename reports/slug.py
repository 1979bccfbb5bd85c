"""A text as an id."""

from __future__ import annotations

import re


def slug(text: str) -> str:
    """Return a text as an id; what names a part may hold anything.

    >>> slug('cover-"><b>')
    'cover-b'
    """
    return re.sub(r"-+", "-", re.sub(r"[^a-z0-9]+", "-", text.lower())).strip("-")
