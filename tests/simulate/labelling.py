"""Labels of a simulated day, from its truth and never from what the sensors said."""

import numpy as np
from numpy.typing import NDArray

from agent.records import Cause
from agent.replay.labels import Label
from tests.simulate.physics import PhysicalDay
from tests.simulate.scenario import (
    Blockage,
    Congestion,
    LanTrouble,
    Mispoint,
    Outage,
    Rain,
    Scenario,
)

# An episode starts to hurt when it has cost half a dB, and one that never costs a whole dB is none.
NOTICED_DB = 0.5
HURTS_DB = 1.0
# Shade is due this long before the bare transmitter would reach its limit; on a day that brings it near the
# limit, also after this much sunshine (common practice: more than two sunny hours want shade).
LIMIT_AHEAD_S = 1200.0
SUNNY_S = 7200.0
NEAR_LIMIT_K = 5.0
SUNSHINE_W_M2 = 120.0  # Direct beam that counts as sunshine, World Meteorological Organization (from memory).


def labels_of(scenario: Scenario, day: PhysicalDay) -> tuple[Label, ...]:
    """Every episode that hurt, in time order; ends when it is mended or over."""
    labels = [*_sun_passes(day), *_overheat(day, scenario.job.transmitter.limit_degc)]
    for episode in scenario.episodes:
        match episode:
            case Mispoint():
                labels += _mispoint(episode, scenario, day)
            case Rain():
                labels += _rain(episode, day)
            case Blockage():
                labels += _plain(episode.at_s, episode.lasts_s, "blockage", episode.what, day)
            case LanTrouble():
                labels += _plain(episode.at_s, episode.lasts_s, "lan", "loss on site", day)
            case Congestion():
                labels += _plain(episode.at_s, episode.lasts_s, "network", "full beyond the satellite", day)
            case Outage():
                labels += _plain(episode.at_s, episode.lasts_s, "power", "generator out", day)
    return tuple(sorted(labels, key=lambda label: (label.start_unix_s, label.cause)))


def limit_unix_s(scenario: Scenario, day: PhysicalDay) -> float | None:
    """When the transmitter would reach its limit if nobody shaded it; None if never."""
    over = np.flatnonzero(day.bare_heat.transmitter_degc >= scenario.job.transmitter.limit_degc)
    return float(day.unix_s[over[0]]) if len(over) else None


def _label(day: PhysicalDay, start_s: float, end_s: float, cause: Cause, comment: str) -> Label:
    first, last = float(day.unix_s[0]), float(day.unix_s[-1])
    return Label(
        start_unix_s=min(first + start_s, last),
        end_unix_s=min(first + end_s, last),
        cause=cause,
        comment=comment,
    )


def _plain(at_s: float, lasts_s: float, cause: Cause, comment: str, day: PhysicalDay) -> list[Label]:
    return [_label(day, at_s, at_s + lasts_s, cause, comment)]


def _mispoint(episode: Mispoint, scenario: Scenario, day: PhysicalDay) -> list[Label]:
    if episode.loss_db < HURTS_DB:
        return []
    start = int(episode.at_s)
    lost = np.flatnonzero(day.pointing_db[start:] >= min(NOTICED_DB, episode.loss_db))
    start_s = float(start + lost[0]) if episode.how == "slide" and len(lost) else episode.at_s
    end_s = float(len(day.unix_s))
    if episode.mended_after_s is not None:
        end_s = episode.at_s + episode.mended_after_s + scenario.crew.peaking_s
    mended = "peaked again" if episode.mended_after_s is not None else "not mended that day"
    return [_label(day, start_s, end_s, "mispoint", f"{episode.how}, {episode.loss_db:.1f} dB, {mended}")]


def _rain(episode: Rain, day: PhysicalDay) -> list[Label]:
    span = slice(int(episode.at_s), int(episode.at_s + episode.lasts_s))
    fade_db = day.truth.rain_db[span]
    hurting = np.flatnonzero(fade_db >= NOTICED_DB)
    if not len(hurting) or fade_db.max() < HURTS_DB:
        return []
    start_s, end_s = episode.at_s + float(hurting[0]), episode.at_s + float(hurting[-1])
    return [_label(day, start_s, end_s, "rain", f"up to {fade_db.max():.1f} dB on the downlink")]


def _sun_passes(day: PhysicalDay) -> list[Label]:
    inside = np.flatnonzero(day.sun_db >= NOTICED_DB)
    if not len(inside) or day.sun_db.max() < HURTS_DB:
        return []
    depth = f"{day.sun_db.max():.1f} dB at the worst"
    return [_label(day, float(inside[0]), float(inside[-1]), "sun-pass", depth)]


def _overheat(day: PhysicalDay, limit_degc: float) -> list[Label]:
    """From when shade is due until it is there and the case is below the limit, or the sun is gone."""
    due_s, why = _shade_due(day, limit_degc)
    over = np.flatnonzero(day.heat.transmitter_degc >= limit_degc)
    if due_s is None or day.shade[due_s] > 0.0:
        return _hot_in_the_shade(day, over)
    shaded = np.flatnonzero(day.shade[due_s:] > 0.0)
    end_s = due_s + int(shaded[0]) if len(shaded) else _sun_gone(day)
    if len(over):
        end_s = max(end_s, int(over[-1]))
    return [_label(day, float(due_s), float(end_s), "overheat", why)] if end_s > due_s else []


def _hot_in_the_shade(day: PhysicalDay, over: NDArray[np.intp]) -> list[Label]:
    """From a while before the case reaches its limit although it was shaded in time, until it is below.

    `over`: the seconds at which it is not.
    """
    if not len(over):
        return []
    start_s = max(0.0, float(over[0]) - LIMIT_AHEAD_S)
    return [_label(day, start_s, float(over[-1]), "overheat", "reaches its limit under the shade")]


def _shade_due(day: PhysicalDay, limit_degc: float) -> tuple[int | None, str]:
    over = np.flatnonzero(day.bare_heat.transmitter_degc >= limit_degc)
    sunny_s = np.cumsum(day.sky.direct_w_m2 > SUNSHINE_W_M2)
    long_sun = np.flatnonzero(sunny_s >= SUNNY_S)
    by_limit = max(int(over[0] - LIMIT_AHEAD_S), 0) if len(over) else None
    near = day.bare_heat.transmitter_degc.max() > limit_degc - NEAR_LIMIT_K
    by_sun = int(long_sun[0]) if near and len(long_sun) else None
    if by_limit is not None and (by_sun is None or by_limit <= by_sun):
        return by_limit, f"would reach its limit {LIMIT_AHEAD_S / 60.0:.0f} minutes later without shade"
    return by_sun, "two hours of sunshine without shade, and near the limit later"


def _sun_gone(day: PhysicalDay) -> int:
    sunny = np.flatnonzero(day.sky.direct_w_m2 > SUNSHINE_W_M2)
    return int(sunny[-1]) if len(sunny) else 0
