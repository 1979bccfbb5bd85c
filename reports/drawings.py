"""The charts of a site, ordered while its findings are still being made."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future
from typing import Any
from zoneinfo import ZoneInfo

from pipeline.findings.model import Section, SiteFindings
from reports.board_pack_figures import pack_figures, width_on_paper
from reports.charts import spec_of
from reports.drawn import Drawn, Order, Vega
from reports.slug import slug


class Drawings:
    """Charts by the keys of their figures; one that is still being drawn is waited for when it is asked for."""

    def __init__(self, draw: Callable[[Order], Future[Drawn]], zone: ZoneInfo) -> None:
        self._draw, self._zone = draw, zone
        self._specs: dict[str, dict[str, Any]] = {}
        self._for_page: dict[str, Future[Drawn]] = {}
        self._for_paper: dict[str, Future[Drawn]] = {}

    def order(self, section: Section) -> None:
        """Order the charts of a section for the page: of each figure that has rows."""
        for figure in section.figures:
            if figure.table.rows:
                self._specs[figure.key] = spec_of(figure, self._zone)
                self._for_page[figure.key] = self._draw(Order(self._specs[figure.key], slug(figure.key)))

    def order_all(self, findings: SiteFindings) -> None:
        """Order every chart of findings that are made already."""
        for section in findings.sections:
            self.order(section)
        self.order_for_paper(findings)

    def order_for_paper(self, findings: SiteFindings) -> None:
        """Order the charts of the board pack, which takes its choice from all sections; those are ordered before."""
        for figures in pack_figures(findings).values():
            for figure in figures:
                spec = width_on_paper(figure, self._specs[figure.key])
                self._for_paper[figure.key] = self._draw(Order(spec, None))

    def on_page(self, key: str) -> str:
        """Return a figure's chart as SVG for the page."""
        return self._for_page[key].result().svg

    def on_paper(self, key: str) -> str:
        """Return a figure's chart as SVG for the board pack."""
        return self._for_paper[key].result().svg

    def to_draw_anew(self) -> dict[str, Vega]:
        """Return every chart of the page as Vega, in the order of the page."""
        return {key: drawn.result().vega for key, drawn in self._for_page.items()}
