"""Decides what readings and notes tell of the sky and the wind."""

from dataclasses import dataclass, field
from math import inf, isnan, nan

from agent.records import Note, Weather
from agent.watch.series import Interval

RAIN_MM_H = 0.3  # above dew and a single tip of the gauge's bucket
RAIN_LASTS_S = 600.0  # a shower on the slant path ends some minutes after the gauge's last tip
LATE_SHARE = 1.2  # a reading may come a little later than usual
NOTE_LASTS_S = 1200.0  # showers last ten to thirty minutes (common practice)
CURRENT_S = 1800.0  # older weather is not the present weather
FROST_DEGC = 2.0  # snow falls up to here (ITU-R P.618-14: the melting layer reaches the ground)
FROST_S = 28_800.0  # what has fallen in the night's frost lies until noon (common practice)
GUST_M_S = 12.0  # Beaufort 6, "strong breeze", is 10.8 to 13.8 m/s (WMO-No. 8)
GUST_BEFORE_S = 240.0  # a loss is noticed within minutes of the gust (judgement)
GUSTS_KEPT = 30  # of half an hour, told each minute
KNOCK_NOTED_S = 1800.0  # a knock is noted when somebody asks why the signal is down


@dataclass(slots=True)
class WeatherWatch:
    """Latest weather; a value that was never reported, or is older than half an hour, counts as not known."""

    interval: Interval = field(default_factory=Interval)
    air_degc: float = nan
    air_unix_s: float = -inf
    frost_unix_s: float = -inf
    cloud_percent: float | None = None
    irradiance_w_m2: float | None = None
    sky_unix_s: float = -inf
    rain_mm_h: float = nan
    gauge_unix_s: float = -inf
    rain_unix_s: float = -inf
    rain_note_unix_s: float = -inf
    rain_over_note_unix_s: float = -inf
    gusts_unix_s: list[float] = field(default_factory=list)
    knock_unix_s: float = -inf
    wind_told: bool = False

    def add(self, weather: Weather) -> None:
        """One weather reading."""
        self.interval.seen(weather.unix_s)
        if weather.air_degc is not None:
            self.air(weather.unix_s, weather.air_degc)
        if weather.cloud_percent is not None or weather.irradiance_w_m2 is not None:
            self.cloud_percent = weather.cloud_percent
            self.irradiance_w_m2 = weather.irradiance_w_m2
            self.sky_unix_s = weather.unix_s
        if weather.rain_mm_h is not None:
            self.rain_mm_h = weather.rain_mm_h
            self.gauge_unix_s = weather.unix_s
            if weather.rain_mm_h >= RAIN_MM_H:
                self.rain_unix_s = weather.unix_s
        if weather.gust_m_s is not None or weather.wind_m_s is not None:
            self.wind_told = True
        if max(weather.gust_m_s or 0.0, weather.wind_m_s or 0.0) >= GUST_M_S:
            self.gusts_unix_s.append(weather.unix_s)
            del self.gusts_unix_s[:-GUSTS_KEPT]

    def air(self, unix_s: float, air_degc: float) -> None:
        """An air temperature, from the weather reading or an ambient thermometer."""
        self.air_degc = air_degc
        self.air_unix_s = unix_s
        if air_degc < FROST_DEGC:
            self.frost_unix_s = unix_s

    def air_now_degc(self, unix_s: float) -> float:
        """Air temperature (deg C), NaN when not known."""
        return self.air_degc if unix_s - self.air_unix_s <= CURRENT_S else nan

    def frost(self, unix_s: float) -> bool:
        """Whether it has been so cold lately that snow or ice may lie on the reflector."""
        return unix_s - self.frost_unix_s <= FROST_S

    def rain_now_mm_h(self, unix_s: float) -> float:
        """Measured rain rate (mm/h), 0 when dry or not measured."""
        current = unix_s - self.gauge_unix_s <= RAIN_LASTS_S and not isnan(self.rain_mm_h)
        return self.rain_mm_h if current else 0.0

    def rain_noted(self, unix_s: float) -> float:
        """What a note of rain is worth still (0 to 1): it ages, and a note that the rain is over ends it."""
        if self.rain_over_note_unix_s >= self.rain_note_unix_s:
            return 0.0
        return max(0.0, 1.0 - (unix_s - self.rain_note_unix_s) / NOTE_LASTS_S)

    def rain_seen(self, unix_s: float) -> bool:
        """Whether rain was measured or noted so recently that it can still stand in the path."""
        return self.rain_measured(unix_s) or self.rain_noted(unix_s) > 0.0

    def rain_measured(self, unix_s: float) -> bool:
        """Whether rain was measured so recently that it can still stand in the path."""
        lasts_s = RAIN_LASTS_S
        if self.rain_mm_h >= RAIN_MM_H and self.interval.typical_s > 0.0:
            lasts_s = max(lasts_s, LATE_SHARE * self.interval.typical_s)  # it has not yet said that it is dry
        return unix_s - self.rain_unix_s <= lasts_s

    def gauge_current(self, unix_s: float) -> bool:
        """Whether a rain gauge has been read lately."""
        return unix_s - self.gauge_unix_s <= CURRENT_S

    def note(self, note: Note) -> None:
        """What the crew saw of the sky, or did to the terminal."""
        if note.kind == "rain":
            self.rain_note_unix_s = note.unix_s
        elif note.kind == "rain-over":
            self.rain_over_note_unix_s = note.unix_s
        elif note.kind == "moved":
            self.knock_unix_s = note.unix_s

    def gust_near(self, onset_unix_s: float) -> bool:
        """Whether a strong gust came about `onset_unix_s`: stations report the strongest of a while."""
        late_s = 60.0 if isnan(self.interval.typical_s) else max(60.0, self.interval.typical_s)
        return any(
            onset_unix_s - GUST_BEFORE_S <= gust <= onset_unix_s + late_s for gust in self.gusts_unix_s
        )

    def knock_near(self, onset_unix_s: float) -> bool:
        """Whether the crew noted that the terminal was moved about `onset_unix_s`."""
        return onset_unix_s - GUST_BEFORE_S <= self.knock_unix_s <= onset_unix_s + KNOCK_NOTED_S
