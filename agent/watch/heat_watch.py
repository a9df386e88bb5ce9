"""Decides how warm transmitter and modem are, where that leads, and how long the sun has been on them."""

from dataclasses import dataclass, field
from math import inf, isnan, nan
from typing import NamedTuple

from agent.heat.exposure import Exposure, Sun, clear_sun, sun_under_cloud
from agent.heat.thermal import AIR_GUESS_DEGC, SHADED_SHARE, STEP_MIN, Forecast, Thermometer, forecast
from agent.job import Job
from agent.link_plan import LinkPlan
from agent.records import Note, Temperature
from agent.watch.series import GRID_S, Interval
from agent.watch.weather_watch import WeatherWatch

AHEAD_STEPS = 24  # two hours of five-minute steps
UNITS = ("transmitter", "modem")
TEMPERATURE_STALE_S = 900.0  # a unit warms by degrees in a quarter of an hour (judgement)
SKY_STALE_S = 1800.0  # observers report the sky every half hour (METAR, common practice)
BLIND_AFTER_S = 7200.0  # by then the rule of thumb of two hours wants shade anyway
AWAY_STEP_S = 600.0  # the sun moves by 2.5 degrees
DAY_S = 86_400.0
NEAR_DEGC = 5.0  # as `shade.exposure_margin_degc`: from there on a unit is worth a word
NO_SUN = Sun(0.0, 0.0)


class UnitView(NamedTuple):
    """One unit at one decision; NaN where not known, inf seconds where the limit is not in sight."""

    where: str
    limit_degc: float
    temperature_degc: float
    slope_k_per_min: float
    to_limit: Forecast | None
    exposure_s: float
    blind: bool  # no thermometer has spoken for so long that only the rule of thumb is left
    shaded: bool
    shade_age_s: float
    age_s: float  # of the last temperature
    usual_s: float  # spacing of temperatures; NaN where not known
    over_since_unix_s: float  # NaN while below the limit
    sunlit: bool  # the sun shines at the site now, clouds allowed for

    @property
    def margin_degc(self) -> float:
        """Degrees below the limit; inf without a current thermometer."""
        return inf if isnan(self.temperature_degc) else self.limit_degc - self.temperature_degc

    @property
    def planned_s(self) -> float:
        """Seconds to the limit on the course to plan for; inf when not in sight or not known."""
        return inf if self.to_limit is None else self.to_limit.planned_s


class HeatView(NamedTuple):
    """The heat at one decision."""

    units: tuple[UnitView, ...]
    sun: Sun | None
    air_degc: float

    @property
    def worst(self) -> UnitView:
        """The unit that reaches its limit first or stands close to it; else the one longest in the sun."""
        hot = [unit for unit in self.units if unit.planned_s < inf or unit.margin_degc <= NEAR_DEGC]
        if hot:
            return min(hot, key=lambda unit: (unit.planned_s, unit.margin_degc))
        return max(self.units, key=lambda unit: (not unit.shaded, unit.exposure_s))


@dataclass(slots=True)
class Unit:
    thermometer: Thermometer = field(default_factory=Thermometer)
    exposure: Exposure = field(default_factory=Exposure)
    slope_k_per_min: float = nan  # as of the last minute
    forecast: Forecast | None = None
    heard: Interval = field(default_factory=Interval)
    over_since_unix_s: float = nan


def _units() -> dict[str, Unit]:
    # The indoor unit stands under cover until a note says otherwise.
    return {where: Unit(exposure=Exposure(shaded=where == "modem")) for where in UNITS}


@dataclass(slots=True)
class HeatWatch:
    """Exposure and thermometers of the units that have a limit."""

    units: dict[str, Unit] = field(default_factory=_units)

    def add(self, reading: Temperature) -> None:
        """One temperature; places without a limit are of no use here."""
        if reading.where in self.units:
            self.units[reading.where].thermometer.add(reading.temperature_degc)
            self.units[reading.where].heard.seen(reading.unix_s)

    def note(self, note: Note) -> None:
        """Shade notes; a note that names no unit is about all of them."""
        if note.kind not in ("shade-on", "shade-off"):
            return
        for where, unit in self.units.items():
            if note.where is None or note.where == where:
                unit.exposure.shade(note.unix_s, note.kind == "shade-on")

    def close(self, unix_s: float, weather: WeatherWatch, plan: LinkPlan, job: Job) -> HeatView:
        """Close the grid cell that ends at `unix_s`."""
        clear = clear_sun(plan.heat.sunshine, unix_s)
        sun = None if clear is None else self._under_cloud(clear, unix_s, weather)
        air_degc = weather.air_now_degc(unix_s)
        views = []
        for where, unit in self.units.items():
            limit_degc = job.transmitter.limit_degc if where == "transmitter" else job.modem.limit_degc
            if sun is not None:
                unit.exposure.add(GRID_S, sun)
            if unix_s % 60.0 == 0.0:
                self._minute(unix_s, unit, limit_degc, (sun or NO_SUN, air_degc), plan)
            sunlit = sun is not None and sun.shining
            views.append(_view(unix_s, where, unit, limit_degc, sunlit))
        return HeatView(tuple(views), sun, air_degc)

    def away(self, from_unix_s: float, to_unix_s: float, plan: LinkPlan) -> None:
        """What the clear sky's sun did between these moments, of the last day at most."""
        start_unix_s = max(from_unix_s, to_unix_s - DAY_S)
        for step in range(int((to_unix_s - start_unix_s) / AWAY_STEP_S)):
            sun = clear_sun(plan.heat.sunshine, start_unix_s + (step + 0.5) * AWAY_STEP_S)
            if sun is not None:
                for unit in self.units.values():
                    unit.exposure.add(AWAY_STEP_S, sun)

    @staticmethod
    def _under_cloud(clear: Sun, unix_s: float, weather: WeatherWatch) -> Sun:
        known = unix_s - weather.sky_unix_s <= SKY_STALE_S
        if not known:
            return clear
        return sun_under_cloud(clear, weather.cloud_percent, weather.irradiance_w_m2)

    @staticmethod
    def _minute(unix_s: float, unit: Unit, limit_degc: float, sky: tuple[Sun, float], plan: LinkPlan) -> None:
        sun, air_degc = sky
        shaded = unit.exposure.shaded
        unit.thermometer.close_minute(unix_s, air_degc, sun.global_w_m2 * (SHADED_SHARE if shaded else 1.0))
        unit.slope_k_per_min = unit.thermometer.slope_k_per_min()
        if unit.thermometer.age_s(unix_s) > TEMPERATURE_STALE_S or isnan(unit.slope_k_per_min):
            unit.forecast = None
            return
        ahead = _ahead(unix_s, sun, air_degc, shaded, plan)
        unit.forecast = forecast(unit.thermometer, limit_degc, ahead)


def _ahead(
    unix_s: float, sun: Sun, air_degc: float, shaded: bool, plan: LinkPlan
) -> list[tuple[float, float]]:
    """Air and irradiance at the unit for two hours: the clear sky's course under the present cloud."""
    air = AIR_GUESS_DEGC if isnan(air_degc) else air_degc
    now = clear_sun(plan.heat.sunshine, unix_s)
    share = sun.global_w_m2 / now.global_w_m2 if now is not None and now.global_w_m2 > 0.0 else 1.0
    share *= SHADED_SHARE if shaded else 1.0
    course = []
    for step in range(AHEAD_STEPS):
        later = clear_sun(plan.heat.sunshine, unix_s + (step + 0.5) * STEP_MIN * 60.0)
        course.append((air, 0.0 if later is None else share * later.global_w_m2))
    return course


def _view(unix_s: float, where: str, unit: Unit, limit_degc: float, sunlit: bool) -> UnitView:
    age_s = unit.thermometer.age_s(unix_s)
    current = age_s <= TEMPERATURE_STALE_S
    over = current and unit.thermometer.now_degc() >= limit_degc
    if not over:
        unit.over_since_unix_s = nan
    elif isnan(unit.over_since_unix_s):
        unit.over_since_unix_s = unix_s
    return UnitView(
        where=where,
        limit_degc=limit_degc,
        temperature_degc=unit.thermometer.now_degc() if current else nan,
        slope_k_per_min=unit.slope_k_per_min if current else nan,
        to_limit=unit.forecast if current else None,
        exposure_s=unit.exposure.seconds,
        blind=age_s > BLIND_AFTER_S,
        shaded=unit.exposure.shaded,
        shade_age_s=unix_s - unit.exposure.shade_changed_unix_s,
        age_s=age_s,
        usual_s=unit.heard.typical_s,
        over_since_unix_s=unit.over_since_unix_s,
        sunlit=sunlit,
    )
