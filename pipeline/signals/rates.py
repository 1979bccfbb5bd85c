"""A rate of events and a ratio to what was expected, each with n and exact limits."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.measures.intervals import Limits, rate_limits

#: Below one expected event a ratio says nothing (the rule of CDC NHSN for its ratios).
LEAST_EXPECTED = 1.0


@dataclass(frozen=True)
class EventRate:
    """Events per unit of exposure, with Garwood's exact 95 % limits; None without exposure."""

    events: int
    exposure: float

    @property
    def value(self) -> float | None:
        """The rate itself."""
        return self.events / self.exposure if self.exposure else None

    @property
    def limits(self) -> Limits | None:
        """Its limits."""
        return rate_limits(self.events, self.exposure)


@dataclass(frozen=True)
class Ratio:
    """Observed over expected events, with exact 95 % limits (Garwood).

    No ratio is given below one expected event, and no lower limit without an observed one.
    """

    observed: int
    expected: float

    @property
    def value(self) -> float | None:
        """The ratio itself."""
        return self.observed / self.expected if self.expected >= LEAST_EXPECTED else None

    @property
    def low(self) -> float | None:
        """Its lower limit."""
        limits = rate_limits(self.observed, self.expected)
        return limits[0] if limits and self.observed else None

    @property
    def high(self) -> float | None:
        """Its upper limit."""
        limits = rate_limits(self.observed, self.expected)
        return limits[1] if limits else None
