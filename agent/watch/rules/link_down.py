"""Decides when the link is down: lock lost for good, whatever took it, and where to look first."""

from collections.abc import Mapping
from math import isfinite

from agent.records import Cause
from agent.watch.feature_stage import View
from agent.watch.rules.rule import (
    FLAG,
    Clause,
    NotScored,
    Parameter,
    Rule,
    at_least,
    at_most,
    no_confidence,
    no_deadline,
    over,
    timing,
)
from agent.watch.rules.told import aged, signal_late
from agent.wording import Said

LOCKED_S = 0.0


def _cause(view: View) -> Cause:
    """The likeliest by what is known from outside the signal, which tells nothing without lock."""
    if view.signal.sun_pass_now:
        return "sun-pass"
    if view.link.power_changed:
        return "power"
    if view.link.knock:
        return "mispoint"
    if view.link.rain_seen:
        return "rain"
    return "mispoint" if view.link.gust else "none"


_ACTIONS: Mapping[Cause, str] = {
    "sun-pass": "down-sun-pass",
    "power": "down-power",
    "rain": "down-rain",
    "mispoint": "down-dish",
    "none": "down-look",
}


def _headline(view: View) -> Said:
    """Lock comes back before the alert clears, and a modem that has fallen silent tells nothing of it."""
    if view.link.lost_s <= LOCKED_S:
        return Said("coming-up")
    return (
        Said("link-down-unheard", {"silent_s": view.link.silent_s})
        if signal_late(view)
        else Said("link-down")
    )


def _evidence(view: View) -> tuple[Said, ...]:
    link = view.link
    known = (
        ("sun-behind", view.signal.sun_pass_now),
        ("supply-changed", link.power_changed),
        ("knock", link.knock),
        ("rain-seen", link.rain_seen),
        ("gust", link.gust),
    )
    reasons = tuple(Said(code, side="for") for code, holds in known if holds)
    since = Said("lock-lost-since", {"since_unix_s": link.lock_since_unix_s, "lost_s": link.lost_s})
    # While the standing alert waits to clear there is lock already.
    first = since if link.lost_s > 0.0 else Said("lock-back")
    return (first, *aged(view), *(reasons or (Said("down-nothing-known"),)))


def _figures(view: View) -> Mapping[str, float]:
    reference_db = view.signal.level_db + view.signal.deficit_db
    return {"lost_s": view.link.lost_s} | ({"reference_db": reference_db} if isfinite(reference_db) else {})


LINK_DOWN = Rule(
    name="link-down",
    label="The link is down",
    parameters=(
        Parameter("link-down.lost_s", 30.0, "s", 1.0, 3600.0, "a passer-by, or a modem that looks twice, is gone sooner"),
        *timing("link-down", 0.0, 120.0, 0.0, "the time without lock is the hold; from lock to online takes two minutes"),
    ),
    clauses=(
        Clause("act", (at_least("lock_lost_s", "link-down.lost_s"),)),
        Clause("urgent", (at_least("lock_lost_s", "link-down.lost_s"), at_least("streaming", FLAG))),
    ),
    clearing=((at_most("lock_lost_s", LOCKED_S),),),
    doubt=(),
    inhibitions={"peaking": "the dish is being moved"},
    cause=_cause,
    headline=_headline,
    action=lambda view: Said(_ACTIONS[_cause(view)] if view.link.lost_s > 0.0 else "wait-coming-up"),
    confidence=no_confidence,
    evidence=_evidence,
    figures=_figures,
    deadline_unix_s=no_deadline,
    ending=over,
    deeds=("peak-start", "peak-done"),
    scoring=NotScored("lock is a fact of the recording; its causes are scored by their own rules"),
)  # fmt: skip
