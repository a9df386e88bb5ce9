"""Decides what to say while no alert stands: never "fine" on what is not known, never silent on a loss."""

from collections.abc import Collection
from dataclasses import dataclass
from math import isnan, nan
from typing import Literal

from agent.watch.feature_stage import View
from agent.watch.link_state import ASK_AFTER_S, Phase
from agent.watch.rules.shade import shade_falls_short, shade_news
from agent.watch.rules.told import LATE_LEAST_S, LATE_SPACINGS, LIKELIER, LOSS, known, loss_said, signal_late
from agent.wording import Said

Level = Literal["fine", "unknown", "advise"]

SUN_SHARE = 0.5  # of the loss, from which it is the sun's
STEADY_WORDS_S = 60.0  # what comes and goes within a minute changes the words once
# What goes unwatched without a kind of reading.
_WATCHED_BY = (("throughput", "rates"), ("temperature transmitter", "heat"), ("weather", "rain"))
NOT_HEARD, NO_LOCK = "not-heard", "no-lock-now"
_GRADES: tuple[Level, ...] = ("fine", "unknown", "advise")


@dataclass(frozen=True, slots=True)
class Calm:
    """A verdict without an alert, and the next step where there is one."""

    level: Level
    verdict: Said
    action: Said | None = None


@dataclass(slots=True)
class SteadyCalm:
    """What is shown, and since when something else, no worse, could be said."""

    shown: Calm | None = None
    phase: str = ""
    other: str = ""  # the code of what could be said
    since_unix_s: float = nan

    def show(self, view: View, repeak_db: float, heard: Collection[str]) -> None:
        """Take in one decision: the worse at once, the calmer when it has lasted for a minute."""
        now, phase = calm(view, repeak_db, heard), view.link.phase
        shown, moved = self.shown, phase != self.phase
        self.phase = phase
        code = now.verdict.code
        if shown is None or moved or code == shown.verdict.code or _worse(now, shown):
            self.shown, self.other = now, ""
        elif code != self.other:
            self.other, self.since_unix_s = code, view.unix_s
        elif view.unix_s - self.since_unix_s >= STEADY_WORDS_S:
            self.shown, self.other = now, ""


def _worse(one: Calm, other: Calm) -> bool:
    names_loss = one.verdict.code.startswith(LOSS) and not other.verdict.code.startswith(LOSS)
    return (
        names_loss or one.verdict.code == NOT_HEARD or _GRADES.index(one.level) > _GRADES.index(other.level)
    )


def calm(view: View, repeak_db: float, heard: Collection[str]) -> Calm:
    """What to say of this decision alone; `repeak_db` is the loss from which a re-peak may be asked for.

    `heard` names the inputs that were heard today.
    """
    link = view.link
    if link.phase == "unheard":
        return Calm("unknown", Said("no-signal-yet"), Said("see-to-signal"))
    if signal_late(view):
        return Calm("unknown", Said(NOT_HEARD, {"input": "signal", "silent_s": link.silent_s}))
    return _set_up(view, link.phase) or _watching(view, repeak_db, heard)


def _set_up(view: View, phase: Phase) -> Calm | None:
    """What to say before the link is watched; None when it is."""
    if phase == "unlocked":
        pointing = view.plan.pointing
        where = known(
            azimuth_true_deg=pointing.azimuth_true_deg,
            azimuth_magnetic_deg=pointing.azimuth_magnetic_deg,
            elevation_deg=pointing.elevation_deg,
            skew_deg=pointing.polarisation_skew_deg,
        )
        return Calm("unknown", Said("not-locked-yet"), Said("find-satellite", where))
    if phase == "lost":
        lost_s = view.unix_s - view.link.lock_since_unix_s
        return Calm("unknown", Said(NO_LOCK, {"lost_s": lost_s}))
    if phase == "peaking":
        return Calm("unknown", Said("peaking"), Said("tap-peaking-done"))
    if phase == "unpeaked":
        level: Level = "advise" if view.link.held_s >= ASK_AFTER_S else "unknown"
        if view.signal.rain_hides:
            return Calm(level, Said("not-peaked-in-rain"), Said("peak-after-rain"))
        return Calm(level, Said("not-peaked-yet"), Said("peak-then-tap"))
    if phase == "peaked":
        return Calm("unknown", Said("taking-level"), Said("leave-dish-still"))
    return Calm("unknown", Said("coming-up"), Said("wait-coming-up")) if phase == "coming-up" else None


def _watching(view: View, repeak_db: float, heard: Collection[str]) -> Calm:
    signal, features = view.signal, view.features
    loss_db = signal.deficit_db + signal.sun_loss_db
    if isnan(loss_db):
        return Calm("unknown", Said("signal-unknown"))
    if loss_db >= repeak_db:
        return Calm("advise", _loss(view, loss_db))
    if view.rate.dead:
        return Calm("advise", Said("nothing-through-now"), Said("repeat-test"))
    if features.other_silence >= LATE_SPACINGS and features.other_age_s >= LATE_LEAST_S:
        return Calm("unknown", Said(NOT_HEARD, {"input": view.silent, "silent_s": features.other_age_s}))
    if any(map(shade_falls_short, view.heat.units)):
        return Calm("advise", Said("shade-short"))
    kinds = _not_watched(heard)
    figures: dict[str, float | str] = {"kinds": kinds} if kinds else {}
    if news := next(filter(None, map(shade_news, view.heat.units)), None):
        return Calm("fine", Said(f"well-{news.code}", {**news.figures, **figures}))
    return Calm("fine", Said("well-adopted" if view.link.adopted else "well", figures))


def _loss(view: View, loss_db: float) -> Said:
    """The loss and its likeliest cause by name, and what the stream has left where that is known."""
    signal = view.signal
    weighed = {
        cause: value for cause, value in signal.confidence.items() if cause != "clear" and value > LIKELIER
    }
    cause = max(weighed, key=lambda one: weighed[one], default="unknown")
    if signal.sun_loss_db >= SUN_SHARE * loss_db:
        cause = "sun-pass"
    elif signal.rain_hides or signal.rain_loss_db >= SUN_SHARE * loss_db:
        cause = "rain"
    return loss_said(view, cause, loss_db)


def _not_watched(heard: Collection[str]) -> str:
    return ", ".join([word for kind, word in _WATCHED_BY if kind not in heard])
