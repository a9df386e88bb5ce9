"""Decides when something stands, or has just stood, in the beam: a sudden deep loss, or short ones."""

from agent.watch.feature_stage import View
from agent.watch.rules.rule import Clause, Parameter, Rule, Scored, at_least, at_most, no_deadline, timing
from agent.watch.rules.told import aged, cause_over, for_and_against, not_heard, signal_figures
from agent.wording import Said

ONE_DIP = 1.5  # between one short drop and two
FREE_DB = 1.0  # whoever takes less has gone
DIPS_SURE = 0.9  # that several short deep drops are of something in the beam (judgement)


def _evidence(view: View) -> tuple[Said, ...]:
    if unknown := not_heard(view):
        return unknown
    dips = view.features.dips
    figures: dict[str, float | str] = {"missing_db": view.signal.unexplained_db}
    if dips:
        figures["dips" if dips > 1.0 else "dip"] = dips
    return (Said("missing-and-dips", figures), *aged(view), *for_and_against(view, "blockage"))


def _confidence(view: View) -> float | None:
    """None once whatever it was has gone: there is nothing left to be sure of."""
    likely = view.signal.confidence.get("blockage")
    if view.features.dips > ONE_DIP or view.features.dip_s > 0.0:
        return max(DIPS_SURE, likely or 0.0)
    return None if view.signal.deficit_db < FREE_DB else likely


BLOCKAGE = Rule(
    name="blockage",
    label="Path blocked",
    parameters=(
        Parameter("blockage.raise_db", 3.0, "dB", 0.5, 20.0, "a body in the beam takes more than half of the power"),
        Parameter("blockage.confidence", 0.6, "1", 0.0, 1.0, "looking up does no harm"),
        Parameter("blockage.clear_confidence", 0.4, "1", 0.0, 1.0, "less likely than not: look elsewhere"),
        Parameter("blockage.dips", 3.0, "1", 1.0, 50.0, "one passer-by is not worth a word, a third within ten minutes is"),
        Parameter("blockage.dip_s", 5.0, "s", 1.0, 90.0, "a beam of two metres is crossed in two seconds; who takes longer stood there and may come back"),
        Parameter("blockage.clear_db", 1.0, "dB", 0.0, 10.0, "beam free again"),
        *timing("blockage", 0.0, 120.0, 300.0, "forty seconds are in the figure already; somebody walking through is gone by then"),
    ),
    clauses=(
        Clause("act", (
            at_least("sudden_db", "blockage.raise_db"),
            at_least("blockage_confidence", "blockage.confidence"),
        )),
        Clause("advise", (
            at_least("dips", "blockage.dips"),
            at_most("deficit_db", "blockage.clear_db"),
        )),
        # It came back: neither a turned dish nor a shower does that so soon.
        Clause("advise", (at_least("dip_s", "blockage.dip_s"),)),
    ),
    clearing=(
        (at_most("sudden_db", "blockage.clear_db"), at_most("dips", ONE_DIP)),
        (at_least("lock_lost_s", "link-down.lost_s"),),
    ),
    doubt=(
        at_most("blockage_confidence", "blockage.clear_confidence"),
        at_most("dips", ONE_DIP),
        at_least("deficit_db", "blockage.clear_db"),
    ),
    inhibitions={
        "peaking": "the dish is being moved",
        "rain_hides": "a storm takes lock by itself",
        "unlocked_long": "nobody stands there for so long: the link speaks",
    },
    cause=lambda view: "blockage",
    headline=lambda view: Said("blockage" if view.signal.deficit_db >= FREE_DB else "blockage-gone"),
    action=lambda view: Said("free-the-beam"),
    confidence=_confidence,
    evidence=_evidence,
    figures=signal_figures,
    deadline_unix_s=no_deadline,
    ending=cause_over,
    deeds=(),
    scoring=Scored("blockage", early_s=60.0, late_s=600.0),
)  # fmt: skip
