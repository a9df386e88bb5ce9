"""Sunshine on the equipment: the irradiance now, and how long a unit has stood in the sun unshaded."""

from dataclasses import dataclass
from math import inf

from agent.link_plan import Sunshine

# Sunshine is direct normal irradiance above this (WMO-No. 8, Guide to Instruments, chapter 8).
SUNSHINE_W_M2 = 120.0
# Global irradiance under cloud: 1 - 0.75 c**3.4 (Kasten and Czeplak, Solar Energy 24, 1980).
CLOUD_FACTOR = 0.75
CLOUD_POWER = 3.4
NIGHT_S = 14_400.0  # after four dark hours the equipment has cooled down: the count starts anew


@dataclass(frozen=True, slots=True)
class Sun:
    """Irradiance at one moment (W/m2)."""

    direct_normal_w_m2: float
    global_w_m2: float

    @property
    def shining(self) -> bool:
        """Whether this counts as sunshine."""
        return self.direct_normal_w_m2 > SUNSHINE_W_M2


def clear_sun(sunshine: Sunshine, unix_s: float) -> Sun | None:
    """Clear-sky irradiance at `unix_s`, interpolated; None outside the hours that the plan covers."""
    position = (unix_s - sunshine.start_unix_s) / sunshine.step_s
    index = int(position) if position >= 0.0 else -1
    if not 0 <= index < len(sunshine.direct_normal_w_m2) - 1:
        return None
    part = position - index
    direct, total = sunshine.direct_normal_w_m2, sunshine.global_horizontal_w_m2
    return Sun(
        direct[index] + part * (direct[index + 1] - direct[index]),
        total[index] + part * (total[index + 1] - total[index]),
    )


def sun_under_cloud(clear: Sun, cloud_percent: float | None, irradiance_w_m2: float | None) -> Sun:
    """Irradiance with the sky as reported: a measured global irradiance first, else the cloud cover."""
    if irradiance_w_m2 is not None:
        share = min(1.0, irradiance_w_m2 / clear.global_w_m2) if clear.global_w_m2 > 0.0 else 0.0
        # Below three quarters of the clear-sky figure the beam itself is covered.
        return Sun(clear.direct_normal_w_m2 if share >= 0.75 else 0.0, irradiance_w_m2)
    if cloud_percent is None:
        return clear
    cloud = cloud_percent / 100.0
    return Sun(
        clear.direct_normal_w_m2 * (1.0 - cloud),
        clear.global_w_m2 * (1.0 - CLOUD_FACTOR * cloud**CLOUD_POWER),
    )


@dataclass(slots=True)
class Exposure:
    """Cumulated unshaded sunshine on one unit (s) since the last night."""

    seconds: float = 0.0
    dark_s: float = 0.0
    shaded: bool = False
    shade_changed_unix_s: float = -inf

    def shade(self, unix_s: float, shaded: bool) -> None:
        """The crew put the shade up or took it away."""
        self.shaded = shaded
        self.shade_changed_unix_s = unix_s

    def add(self, span_s: float, sun: Sun) -> None:
        """Count `span_s` under this sun."""
        if sun.global_w_m2 <= 0.0:
            self.dark_s += span_s
            if self.dark_s >= NIGHT_S:
                self.seconds = 0.0
            return
        self.dark_s = 0.0
        if sun.shining and not self.shaded:
            self.seconds += span_s
