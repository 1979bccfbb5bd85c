"""One site's findings as a PDF for the board: the whole summary on its first page, then a part for each reader.

The layout is `templates/board_pack.typ`. What it sets comes as JSON beside it, so that no value is ever read as markup.
It is tagged for readers that speak (PDF/UA-1) and fit for an archive (PDF/A-2a).
"""

from __future__ import annotations

import json
from datetime import UTC, datetime, time
from pathlib import Path
from zoneinfo import ZoneInfo

from pipeline import __version__
from pipeline.findings.model import SiteFindings
from reports.board_pack_readers import readers
from reports.board_pack_summary import summary
from reports.board_pack_text import FAMILY, all_printable
from reports.drawings import Drawings
from reports.style import COLOURS, light

_FOLDER = Path(__file__).parent


def board_pack(findings: SiteFindings, drawings: Drawings) -> bytes:
    """Return the bytes of a PDF; the same findings, with their charts, give the same bytes.

    No font of the machine is used.
    """
    import typst

    zone = ZoneInfo(findings.time_zone)
    told = {
        **summary(findings, zone),
        "readers": readers(findings, drawings, zone),
        "family": FAMILY,
        "colours": {name: light(name) for name in COLOURS},
        "version": __version__,
        "day": [findings.as_of.year, findings.as_of.month, findings.as_of.day],
    }
    # Midnight of the day that the records are known at: an edition that leaves the team tells no more of it.
    made = datetime.combine(findings.as_of.date(), time(), UTC)
    return typst.compile(
        (_FOLDER / "templates" / "board_pack.typ").read_bytes(),
        sys_inputs={"told": json.dumps(all_printable(told))},
        format="pdf",
        pdf_standards=["ua-1", "a-2a"],
        timestamp=int(made.timestamp()),
        font_paths=typst.Fonts(include_system_fonts=False, font_paths=[str(_FOLDER / "fonts")]),
    )
