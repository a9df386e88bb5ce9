"""Decides when to say that the sun passes behind the satellite, and that nobody touches the dish."""

from collections.abc import Mapping

from agent.link_plan import SunPass, SunPassEffect
from agent.watch.feature_stage import View
from agent.watch.rules.rule import Clause, Parameter, Rule, Scored, at_least, at_most, no_confidence, timing
from agent.watch.rules.told import signal_over
from agent.wording import Said

# With so much missing besides the sun the plan's worst case is not the worst any more; plan and modem each err
# by about as much.
DOUBT_DB = 1.0


def _pass(view: View) -> SunPass:
    if view.signal.next_pass is None:
        raise ValueError("the sun-pass rule spoke without a pass")
    return view.signal.next_pass


def _effect(view: View) -> SunPassEffect | None:
    """What the plan says of this pass; older plans say nothing."""
    peak_unix_s = _pass(view).peak_unix_s
    return next((one for one in view.plan.sun_pass_effects if one.peak_unix_s == peak_unix_s), None)


def _outcome(view: View) -> str:
    """What is left at worst, as the end of a code; empty where plan and level do not tell."""
    effect, planned = _effect(view), view.plan.downlink
    if effect is None or not planned.margin_db > 0.0:
        return ""
    if effect.lost_from_unix_s is not None:
        return "-lock-lost"
    without_sun_db = view.signal.level_db + view.signal.sun_loss_db
    if not planned.esno_clear_db - without_sun_db <= DOUBT_DB:
        return ""
    return "-carried" if effect.short_from_unix_s is None else "-less"


def _left(effect: SunPassEffect) -> Said:
    if effect.lost_from_unix_s is not None and effect.lost_to_unix_s is not None:
        lost = {"from_unix_s": effect.lost_from_unix_s, "to_unix_s": effect.lost_to_unix_s}
        return Said("sun-pass-loses-lock", lost)
    worst: dict[str, float | str] = {"modcod": str(effect.modcod), "rate_mbps": effect.rate_mbps}
    if effect.short_from_unix_s is not None and effect.short_to_unix_s is not None:
        worst |= {"from_unix_s": effect.short_from_unix_s, "to_unix_s": effect.short_to_unix_s}
    return Said("sun-pass-leaves", worst)


def _evidence(view: View) -> tuple[Said, ...]:
    one = _pass(view)
    until_s, lasts_s = one.start_unix_s - view.unix_s, one.end_unix_s - one.start_unix_s
    when = Said("sun-pass-under-way", {"lasts_s": lasts_s})
    if until_s > 0.0:
        when = Said("sun-pass-starts", {"until_s": until_s, "lasts_s": lasts_s})
    effect = _effect(view)
    left = () if effect is None else (_left(effect),)
    return (when, Said("sun-pass-depth", {"depth_db": one.depth_db}), *left)


def _figures(view: View) -> Mapping[str, float]:
    one = _pass(view)
    starts_in_s = max(0.0, one.start_unix_s - view.unix_s)
    return {"depth_db": one.depth_db, "starts_in_s": starts_in_s, "sun_loss_db": view.signal.sun_loss_db}


WAIT_SUN_PASS = Rule(
    name="wait-sun-pass",
    label="Wait: sun pass",
    parameters=(
        Parameter("wait-sun-pass.announce_s", 900.0, "s", 0.0, 7200.0, "time to warn the producer"),
        Parameter("wait-sun-pass.depth_db", 0.5, "dB", 0.0, 30.0, "a shallower pass is not noticed"),
        *timing("wait-sun-pass", 0.0, 0.0, 0.0, "the sun's place is known beforehand"),
    ),
    clauses=(
        Clause("advise", (
            at_most("sun_pass_in_s", "wait-sun-pass.announce_s"),
            at_least("sun_pass_depth_db", "wait-sun-pass.depth_db"),
        )),
    ),
    clearing=((at_least("sun_pass_in_s", "wait-sun-pass.announce_s"),),),
    doubt=(),
    inhibitions={},
    cause=lambda view: "sun-pass",
    headline=lambda view: Said(("sun-pass-now" if view.signal.sun_pass_now else "sun-pass-soon") + _outcome(view)),
    action=lambda view: Said("wait-sun-pass" + _outcome(view)),
    confidence=no_confidence,
    evidence=_evidence,
    figures=_figures,
    deadline_unix_s=lambda view: _pass(view).end_unix_s,
    ending=signal_over,
    deeds=(),
    scoring=Scored("sun-pass", early_s=1800.0, late_s=900.0),
)  # fmt: skip
