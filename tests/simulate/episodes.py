"""Effects of the episodes on the day: where the dish looks, what the sky takes, what the network loses."""

from dataclasses import dataclass, field

import numpy as np

from agent.records import NoteKind
from tests.simulate.scenario import (
    Blockage,
    Congestion,
    LanTrouble,
    Mispoint,
    Outage,
    Rain,
    Reboot,
    Scenario,
)
from tests.simulate.sky import FloatArray, wander
from tests.simulate.terminal import Link, pointing_error_deg

BATTERY_RUNTIME_S = 5400.0
CHARGING_S = 4.0 * 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """One note of the crew; seconds after the start."""

    at_s: float
    kind: NoteKind
    where: str | None = None
    text: str | None = None


@dataclass(slots=True)
class Truth:
    """The day as it is, one value a second; changed by one episode after the other."""

    across_deg: FloatArray
    up_deg: FloatArray
    rain_db: FloatArray
    rain_mm_h: FloatArray
    rain_share: FloatArray
    blocked_db: FloatArray
    lan_loss_percent: FloatArray
    rate_share: FloatArray
    added_rtt_ms: FloatArray
    gust_m_s: FloatArray
    on_generator: FloatArray
    battery_percent: FloatArray
    modem_on: FloatArray
    actions: list[Action] = field(default_factory=list)


def quiet_truth(count: int) -> Truth:
    """A day of `count` seconds on which nothing happens."""
    zeros = [np.zeros(count) for _ in range(9)]
    ones = [np.ones(count) for _ in range(3)]
    return Truth(
        across_deg=zeros[0],
        up_deg=zeros[1],
        rain_db=zeros[2],
        rain_mm_h=zeros[3],
        rain_share=zeros[4],
        blocked_db=zeros[5],
        lan_loss_percent=zeros[6],
        added_rtt_ms=zeros[7],
        gust_m_s=zeros[8],
        rate_share=ones[0],
        on_generator=ones[1],
        modem_on=ones[2],
        battery_percent=np.full(count, 100.0),
    )


def truth_of(scenario: Scenario, link: Link, rng: np.random.Generator, count: int) -> Truth:
    """The day with set-up, all episodes and the crew's answer to each."""
    truth = quiet_truth(count)
    set_up(truth, scenario, link, rng)
    for episode in sorted(scenario.episodes, key=lambda episode: episode.at_s):
        match episode:
            case Mispoint():
                mispoint(truth, episode, scenario, link, rng)
            case Rain():
                rain(truth, episode, rng)
            case Blockage():
                blockage(truth, episode, rng)
            case LanTrouble():
                lan_trouble(truth, episode, rng)
            case Congestion():
                congestion(truth, episode, rng)
            case Outage():
                outage(truth, episode)
            case Reboot():
                truth.modem_on[_span(episode.at_s, episode.lasts_s)] = 0.0
    return truth


def _span(at_s: float, lasts_s: float) -> slice:
    return slice(int(at_s), int(at_s + lasts_s))


def _residual(scenario: Scenario, link: Link, rng: np.random.Generator) -> tuple[float, float]:
    """The small error that remains after peaking, in a direction of its own each time, degrees."""
    error = pointing_error_deg(scenario.peak_residual_db * rng.uniform(0.3, 1.0), link.down_beam_deg)
    toward = rng.uniform(0.0, 2.0 * np.pi)
    return error * np.cos(toward), error * np.sin(toward)


def set_up(truth: Truth, scenario: Scenario, link: Link, rng: np.random.Generator) -> None:
    """The dish starts off the satellite by two or three dB and is peaked by the crew."""
    crew = scenario.crew
    first = pointing_error_deg(rng.uniform(1.5, 4.0), link.down_beam_deg)
    truth.across_deg += first
    peak(truth, crew.peak_start_s, crew.peak_done_s, _residual(scenario, link, rng), rng)
    truth.actions.append(Action(at_s=crew.stream_start_s, kind="stream-start"))
    stop_s = len(truth.up_deg) - crew.stream_stop_before_end_s
    truth.actions.append(Action(at_s=stop_s, kind="stream-stop"))


def peak(
    truth: Truth, start_s: float, done_s: float, left_deg: tuple[float, float], rng: np.random.Generator
) -> None:
    """The crew sweeps the dish in narrowing swings until `done_s` and leaves the error `left_deg`."""
    start, done = int(start_s), int(done_s)
    count = min(done, len(truth.up_deg)) - start
    if count <= 0:
        return
    share = np.arange(count) / (done - start)
    error = float(np.hypot(truth.across_deg[start], truth.up_deg[start])) + 0.2
    swing = 0.7 * error * (1.0 - share) * np.sin(2.0 * np.pi * share * rng.uniform(3.0, 6.0))
    for axis, left in ((truth.across_deg, left_deg[0]), (truth.up_deg, left_deg[1])):
        begin = axis[start]
        axis[start : start + count] = begin + (left - begin) * share + swing
        axis[start + count :] = left
    truth.actions.append(Action(at_s=start_s, kind="peak-start"))
    if done < len(truth.up_deg):
        truth.actions.append(Action(at_s=done_s, kind="peak-done"))


def mispoint(
    truth: Truth, episode: Mispoint, scenario: Scenario, link: Link, rng: np.random.Generator
) -> None:
    """The dish moves away until the downlink has lost `loss_db`, and the crew peaks it again."""
    start = int(episode.at_s)
    toward = np.radians(episode.toward_deg)
    error = pointing_error_deg(episode.loss_db, link.down_beam_deg)
    begin = (truth.across_deg[start], truth.up_deg[start])
    seconds = np.arange(len(truth.up_deg) - start)
    share = np.minimum(seconds / max(episode.over_s, 1.0), 1.0)
    if episode.how == "slide":
        # The loss grows with the square of the error: a root gives a loss that grows evenly.
        share = np.sqrt(share)
    truth.across_deg[start:] = begin[0] + (error * np.cos(toward) - begin[0]) * share
    truth.up_deg[start:] = begin[1] + (error * np.sin(toward) - begin[1]) * share
    if episode.how == "gust":
        around = slice(max(start - 60, 0), start + 90)
        shape = np.exp(-((np.arange(around.start, around.stop) - start) ** 2) / (2.0 * 25.0**2))
        room = len(truth.gust_m_s[around])
        truth.gust_m_s[around] += rng.uniform(9.0, 14.0) * shape[:room]
    if episode.mended_after_s is not None:
        peak_s = episode.at_s + episode.mended_after_s
        left = _residual(scenario, link, rng)
        peak(truth, peak_s, peak_s + scenario.crew.peaking_s, left, rng)


def rain(truth: Truth, episode: Rain, rng: np.random.Generator) -> None:
    """A log-normal fade that forgets over minutes, under an envelope that rises and ends.

    After Maseng and Bakken 1981: the logarithm of the attenuation is a first-order Markov process.
    """
    start, count = int(episode.at_s), int(episode.lasts_s)
    share = np.arange(count) / count
    envelope = np.sin(np.pi * np.minimum(share, 1.0)) ** 0.6
    noise = 0.35 * wander(rng, count, 240.0) + 0.08 * wander(rng, count, 20.0)
    fade = episode.peak_db * envelope * np.exp(noise - 0.06)
    span = slice(start, start + len(truth.rain_db[start : start + count]))
    room = span.stop - span.start
    truth.rain_db[span] += fade[:room]
    # Attenuation goes with the rate to about the power 1.15 near 12 GHz (ITU-R P.838, from memory).
    rate = episode.rate_mm_h * (fade / episode.peak_db) ** (1.0 / 1.15)
    truth.rain_mm_h[span] += rate[:room]
    truth.rain_share[span] = np.maximum(truth.rain_share[span], np.minimum(3.0 * envelope, 1.0)[:room])
    if episode.noted_after_s is not None:
        truth.actions.append(Action(at_s=episode.at_s + episode.noted_after_s, kind="rain"))


def blockage(truth: Truth, episode: Blockage, rng: np.random.Generator) -> None:
    """A truck stays, people pass in seconds, a tree swings in and out of the beam."""
    span = _span(episode.at_s, episode.lasts_s)
    count = len(truth.blocked_db[span])
    if episode.what == "truck":
        shape = 1.0 + 0.03 * wander(rng, count, 5.0)
    elif episode.what == "people":
        shape = (wander(rng, count, 4.0) > 0.3).astype(float)
        shape[: min(5, count)] = 1.0
    else:
        shape = np.clip(0.5 + 0.5 * wander(rng, count, 3.0), 0.0, 1.5)
    truth.blocked_db[span] += episode.depth_db * np.maximum(shape, 0.0)


def lan_trouble(truth: Truth, episode: LanTrouble, rng: np.random.Generator) -> None:
    """Loss that wanders about its level, and less of the rate."""
    span = _span(episode.at_s, episode.lasts_s)
    count = len(truth.rate_share[span])
    level = episode.loss_percent * np.exp(0.3 * wander(rng, count, 60.0))
    truth.lan_loss_percent[span] = np.minimum(truth.lan_loss_percent[span] + level, 90.0)
    truth.rate_share[span] *= episode.rate_share


def congestion(truth: Truth, episode: Congestion, rng: np.random.Generator) -> None:
    """Queues that fill and drain, and less of the rate."""
    span = _span(episode.at_s, episode.lasts_s)
    count = len(truth.rate_share[span])
    truth.added_rtt_ms[span] += episode.added_rtt_ms * np.exp(0.25 * wander(rng, count, 45.0))
    truth.rate_share[span] *= episode.rate_share


def outage(truth: Truth, episode: Outage) -> None:
    """The battery drains; when it is empty the modem goes off; afterwards it charges."""
    start, count = int(episode.at_s), len(truth.on_generator)
    end = min(int(episode.at_s + episode.lasts_s), count)
    seconds = np.arange(end - start)
    truth.on_generator[start:end] = 0.0
    left = truth.battery_percent[start] - 100.0 * seconds / BATTERY_RUNTIME_S
    truth.battery_percent[start:end] = np.maximum(left, 0.0)
    truth.modem_on[start:end] *= left > 0.0
    charge = truth.battery_percent[end - 1] + 100.0 * np.arange(count - end) / CHARGING_S
    truth.battery_percent[end:] = np.minimum(charge, 100.0)
