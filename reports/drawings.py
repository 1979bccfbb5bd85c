"""The charts of a site: what is ordered of each figure, and what was drawn by the key of the figure."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Future
from zoneinfo import ZoneInfo

from pipeline.findings.model import SiteFindings
from reports.board_pack_figures import paper_widths
from reports.charts import spec_of
from reports.drawn import Drawn, Order
from reports.slug import slug


class Drawings(Mapping[str, Drawn]):
    """Charts by the keys of their figures; one that is still being drawn is waited for when it is asked for."""

    def __init__(self, findings: SiteFindings, draw: Callable[[Order], Future[Drawn]]) -> None:
        self._drawn = {key: draw(order) for key, order in orders(findings)}

    def __getitem__(self, key: str) -> Drawn:
        return self._drawn[key].result()

    def __iter__(self) -> Iterator[str]:
        return iter(self._drawn)

    def __len__(self) -> int:
        return len(self._drawn)


def orders(findings: SiteFindings) -> Iterator[tuple[str, Order]]:
    """Yield the key and the order of each figure that has rows, as they follow one another in the page."""
    zone, widths = ZoneInfo(findings.time_zone), paper_widths(findings)
    for section in findings.sections:
        for figure in section.figures:
            if figure.table.rows:
                yield figure.key, Order(spec_of(figure, zone), slug(figure.key), widths.get(figure.key))
