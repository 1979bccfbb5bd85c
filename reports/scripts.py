"""The page's scripts and the policy that lets in these, its one style sheet, and nothing else."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from pathlib import Path

_FOLDER = Path(__file__).with_name("live")


#: Written by hand and read by whoever opens the page's source.
_OWN = ("packed.js", "charts.js", "closer.js")


@cache
def scripts() -> tuple[str, ...]:
    """Return the page's scripts in order: Vega as far as charts need it, then what is ours."""
    bundle = (_FOLDER / "vega.js").read_text("utf-8")
    return bundle, "".join((_FOLDER / name).read_text("utf-8") for name in _OWN)


def policy(style: str, own: tuple[str, ...] = ()) -> str:
    """Return the content security policy of a page with this style sheet and these scripts."""
    allowed = [f"style-src {_digest(style)}", "img-src data:", "base-uri 'none'", "form-action 'none'"]
    if own:
        allowed.insert(0, f"script-src {' '.join(map(_digest, own))}")
    return "; ".join(["default-src 'none'", *allowed])


def _digest(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
