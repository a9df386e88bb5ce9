"""Decides when to say that the sun passes behind the satellite, and that nobody touches the dish."""

from collections.abc import Mapping

from agent.link_plan import SunPass
from agent.watch.feature_stage import View
from agent.watch.rules.rule import Clause, Parameter, Rule, Scored, at_least, at_most, no_confidence, timing
from agent.watch.rules.told import signal_over
from agent.wording import Said


def _pass(view: View) -> SunPass:
    if view.signal.next_pass is None:
        raise ValueError("the sun-pass rule spoke without a pass")
    return view.signal.next_pass


def _evidence(view: View) -> tuple[Said, ...]:
    one = _pass(view)
    until_s, lasts_s = one.start_unix_s - view.unix_s, one.end_unix_s - one.start_unix_s
    when = Said("sun-pass-under-way", {"lasts_s": lasts_s})
    if until_s > 0.0:
        when = Said("sun-pass-starts", {"until_s": until_s, "lasts_s": lasts_s})
    return (when, Said("sun-pass-depth", {"depth_db": one.depth_db}))


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
    inhibitions={},
    cause=lambda view: "sun-pass",
    headline=lambda view: Said("sun-pass-now" if view.signal.sun_pass_now else "sun-pass-soon"),
    action=lambda view: Said("wait-sun-pass"),
    confidence=no_confidence,
    evidence=_evidence,
    figures=_figures,
    deadline_unix_s=lambda view: _pass(view).end_unix_s,
    ending=signal_over,
    deeds=(),
    scoring=Scored("sun-pass", early_s=1800.0, late_s=900.0),
)  # fmt: skip
