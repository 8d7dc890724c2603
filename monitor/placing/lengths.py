"""Lengths as a person says them, in metres or in feet, and the steps that are tried."""

from __future__ import annotations

from dataclasses import dataclass

from monitor.placing.stage import FOOT_M, Units

INCH_M = FOOT_M / 12.0


@dataclass(frozen=True, slots=True)
class Lengths:
    """What depends on the units of a plan."""

    units: Units

    @property
    def floor_steps_m(self) -> tuple[float, ...]:
        """How far a loudspeaker on a stand is moved: half a metre to three, or 2 to 10 ft."""
        if self.units == "feet":
            return tuple(FOOT_M * feet for feet in (2.0, 3.0, 6.0, 10.0))
        return (0.5, 1.0, 2.0, 3.0)

    @property
    def short_steps_m(self) -> tuple[float, ...]:
        """How far a wedge or a singer is moved: half a metre and one, or 2 and 3 ft."""
        return self.floor_steps_m[:2]

    @property
    def up_steps_m(self) -> tuple[float, ...]:
        """How far a stand is raised: 30 and 60 cm, or 1 and 2 ft."""
        if self.units == "feet":
            return (FOOT_M, 2.0 * FOOT_M)
        return (0.3, 0.6)

    @property
    def mouth_steps_m(self) -> tuple[float, ...]:
        """How near a mouth may come: about two fingers, and a hand's breadth."""
        if self.units == "feet":
            return (4.0 * INCH_M, 1.5 * INCH_M)
        return (0.1, 0.04)

    def far(self, metres: float) -> str:
        """Return a length across the floor, such as '1 m' or '3 ft'."""
        if self.units == "feet":
            return f"{metres / FOOT_M:.3g} ft"
        return f"{metres:.2g} m"

    def near(self, metres: float) -> str:
        """Return a mouth's distance, such as '4 cm' or '1.6 in'."""
        return f"{self.near_number(metres)} {'in' if self.units == 'feet' else 'cm'}"

    def near_number(self, metres: float) -> str:
        """Return the same without its unit."""
        return f"{metres / (INCH_M if self.units == 'feet' else 0.01):.2g}"
