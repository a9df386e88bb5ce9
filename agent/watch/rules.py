"""Rules file and threshold sets: every number of every rule, with its unit, range and reason.

A `RuleSet` holds one value per parameter and set; live and replay use one set, tuning uses many. A rules file
is TOML with one table a rule and names only what differs from the table below.
"""

import hashlib
import json
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from agent.errors import UsageError
from agent.heat.outlook import FINE_SUN_HOURS, LONG_SUN_HOURS

Thresholds = Mapping[str, npt.NDArray[np.float64]]


@dataclass(frozen=True, slots=True)
class Parameter:
    """One number of one rule; `name` is "rule.key". `reason` says why this value."""

    name: str
    value: float
    unit: str
    low: float
    high: float
    reason: str


def _timing(
    rule: str, hold_s: float, clear_hold_s: float, repeat_s: float, reason: str
) -> tuple[Parameter, ...]:
    return (
        Parameter(f"{rule}.hold_s", hold_s, "s", 0.0, 7200.0, reason),
        Parameter(
            f"{rule}.clear_hold_s", clear_hold_s, "s", 0.0, 7200.0, "the condition must be gone this long"
        ),
        Parameter(
            f"{rule}.repeat_s", repeat_s, "s", 0.0, 86_400.0, "not raised again sooner after it cleared"
        ),
    )


PARAMETERS: tuple[Parameter, ...] = (
    Parameter("shade.advise_after_s", FINE_SUN_HOURS * 3600.0, "s", 600.0, 36_000.0, "common practice: under one hour is no concern"),
    Parameter("shade.act_after_s", LONG_SUN_HOURS * 3600.0, "s", 600.0, 36_000.0, "common practice: over two hours wants shade"),
    Parameter("shade.exposure_margin_degc", 5.0, "degC", 0.0, 60.0, "a thermometer this far below its limit outvotes the rule of thumb"),
    Parameter("shade.lead_s", 1500.0, "s", 60.0, 7200.0, "fetching and fixing a cover takes about ten minutes; the forecast errs by as much"),
    Parameter("shade.loss_db", 1.0, "dB", 0.2, 10.0, "a transmitter that cuts its power for heat does so by this and more"),
    Parameter("shade.limit_margin_degc", 0.0, "degC", -20.0, 20.0, "0: the data sheet's limit itself"),
    Parameter("shade.clear_margin_degc", 3.0, "degC", 0.0, 30.0, "more than the noise and resolution of a common thermometer"),
    *_timing("shade", 120.0, 300.0, 1800.0, "two minutes outlast a reflection or one wrong reading"),
    Parameter("repeak.raise_db", 0.7, "dB", 0.2, 10.0, "above drift and scintillation; as a quarter of the beamwidth costs"),
    Parameter("repeak.clear_db", 0.5, "dB", 0.0, 10.0, "what a good re-peak leaves at most"),
    Parameter("repeak.confidence", 0.6, "1", 0.0, 1.0, "throughout the hold; lower and showers are taken for it"),
    Parameter("repeak.urgent_db", 4.0, "dB", 0.5, 20.0, "most rental carriers lose lock or two MODCOD classes here"),
    *_timing("repeak", 180.0, 60.0, 600.0, "people and trucks are mostly gone in two minutes, the first edge of a shower in three"),
    Parameter("wait-sun-pass.announce_s", 900.0, "s", 0.0, 7200.0, "time to warn the producer"),
    Parameter("wait-sun-pass.depth_db", 0.5, "dB", 0.0, 30.0, "a shallower pass is not noticed"),
    *_timing("wait-sun-pass", 0.0, 0.0, 0.0, "the sun's place is known beforehand"),
    Parameter("wait-rain.raise_db", 1.3, "dB", 0.1, 10.0, "clouds and scintillation reach a decibel at Ka band"),
    Parameter("wait-rain.measured_db", 0.5, "dB", 0.1, 10.0, "with rain seen or measured a smaller loss is explained"),
    Parameter("wait-rain.confidence", 0.7, "1", 0.0, 1.0, "waiting does no harm, so likely is enough"),
    Parameter("wait-rain.clear_db", 0.4, "dB", 0.0, 10.0, "half of what raised it"),
    *_timing("wait-rain", 150.0, 300.0, 600.0, "cells of a shower come minutes apart; leaves and people are gone sooner"),
    Parameter("blockage.raise_db", 3.0, "dB", 0.5, 20.0, "a body in the beam takes more than half of the power"),
    Parameter("blockage.confidence", 0.6, "1", 0.0, 1.0, "looking up does no harm"),
    Parameter("blockage.dips", 3.0, "1", 1.0, 50.0, "one passer-by is not worth a word, a third within ten minutes is"),
    Parameter("blockage.clear_db", 1.0, "dB", 0.0, 10.0, "beam free again"),
    *_timing("blockage", 20.0, 120.0, 300.0, "somebody walking through is gone in twenty seconds"),
    Parameter("lower-stream.headroom_mbps", 0.0, "Mbit/s", -10.0, 100.0, "the weakest tests no longer carry the stream"),
    Parameter("lower-stream.clear_mbps", 0.1, "Mbit/s", -10.0, 100.0, "a little room again"),
    *_timing("lower-stream", 60.0, 300.0, 600.0, "the encoder's own buffer bridges less than a minute"),
    Parameter("look-at-lan.ratio", 0.75, "1", 0.0, 1.0, "a quarter of the rate is missing"),
    Parameter("look-at-lan.confidence", 0.6, "1", 0.0, 1.0, "looking does no harm"),
    Parameter("look-at-lan.sure", 0.85, "1", 0.0, 1.0, "losses and jitter both up need no rate to be believed"),
    *_timing("look-at-lan", 0.0, 60.0, 600.0, "two tests agree before the ratio falls"),
    Parameter("call-network.ratio", 0.75, "1", 0.0, 1.0, "a quarter of the rate is missing"),
    Parameter("call-network.confidence", 0.6, "1", 0.0, 1.0, "a call costs little"),
    Parameter("call-network.rtt_ratio", 1.8, "1", 1.0, 20.0, "a queue as long as the path itself, rates measured or not"),
    Parameter("call-network.rtt_clear", 1.25, "1", 1.0, 20.0, "the queue is gone"),
    *_timing("call-network", 0.0, 60.0, 600.0, "two tests agree before the ratio falls"),
    Parameter("throughput-low.ratio", 0.6, "1", 0.0, 1.0, "with no cause found, only a clear shortfall is reported"),
    Parameter("throughput-low.clear_ratio", 0.8, "1", 0.0, 1.0, "most of the rate is back"),
    *_timing("throughput-low", 300.0, 60.0, 900.0, "waits for a rule that knows the cause"),
    Parameter("on-battery.urgent_s", 900.0, "s", 0.0, 36_000.0, "time to end a stream in an orderly way"),
    Parameter("on-battery.urgent_percent", 20.0, "%", 0.0, 100.0, "small batteries sag below a fifth"),
    *_timing("on-battery", 30.0, 30.0, 60.0, "a change-over switch takes seconds"),
    Parameter("no-data.intervals", 6.0, "1", 1.0, 100.0, "five lost in a row is not chance"),
    Parameter("no-data.least_s", 240.0, "s", 1.0, 7200.0, "a modem that restarts needs one to two minutes to be online again (common practice), some longer"),
    *_timing("no-data", 0.0, 0.0, 120.0, "the silence itself is the hold"),
    Parameter("clock-wrong.within_s", 120.0, "s", 1.0, 7200.0, "a corrected clock is forgiven after two minutes"),
    *_timing("clock-wrong", 0.0, 0.0, 600.0, "the receipt time already proved it"),
)  # fmt: skip

BY_NAME: Mapping[str, Parameter] = {parameter.name: parameter for parameter in PARAMETERS}
RULES: tuple[str, ...] = tuple(dict.fromkeys(parameter.name.split(".")[0] for parameter in PARAMETERS))


@dataclass(frozen=True, slots=True)
class RuleSet:
    """Threshold sets: `values[name]` has shape (n_sets,), for every name of `PARAMETERS`."""

    values: Thresholds

    @property
    def n_sets(self) -> int:
        """How many sets are held side by side."""
        return len(next(iter(self.values.values())))

    def digest(self) -> str:
        """Hex digest of all numbers; two rule sets with the same digest decide the same."""
        text = json.dumps({name: column.tolist() for name, column in sorted(self.values.items())})
        return hashlib.sha256(text.encode()).hexdigest()[:16]

    def only(self, index: int) -> "RuleSet":
        """The one set at `index`."""
        return self.between(index, index + 1)

    def between(self, first: int, last: int) -> "RuleSet":
        """The sets from `first` to before `last`."""
        return RuleSet({name: column[first:last] for name, column in self.values.items()})


def rule_set(sets: Sequence[Mapping[str, float]]) -> RuleSet:
    """Threshold sets from what each changes against the defaults (names as "rule.key")."""
    return RuleSet(
        {
            parameter.name: np.array([changes.get(parameter.name, parameter.value) for changes in sets])
            for parameter in PARAMETERS
        }
    )


def default_rules() -> RuleSet:
    """The one set of defaults."""
    return rule_set([{}])


def parse_rules(text: str, source_name: str) -> RuleSet:
    """One set from a rules file's text.

    Raises UsageError naming file, rule, key and what is allowed.
    """
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise UsageError(f"{source_name}: not TOML: {error}; mend that line") from error
    changes: dict[str, float] = {}
    for rule, table in tables.items():
        if rule not in RULES or not isinstance(table, dict):
            raise UsageError(f"{source_name}: [{rule}] is no rule; known rules: {', '.join(RULES)}")
        for key, value in table.items():
            changes[f"{rule}.{key}"] = _checked(source_name, rule, key, value)
    return rule_set([changes])


def _checked(source_name: str, rule: str, key: str, value: object) -> float:
    parameter = BY_NAME.get(f"{rule}.{key}")
    if parameter is None:
        known = ", ".join(name.split(".")[1] for name in BY_NAME if name.startswith(f"{rule}."))
        raise UsageError(f"{source_name}: [{rule}] {key} is unknown; known keys: {known}")
    allowed = f"a number from {parameter.low:g} to {parameter.high:g} ({parameter.unit})"
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise UsageError(f"{source_name}: [{rule}] {key} = {value!r}: expected {allowed}")
    if not parameter.low <= value <= parameter.high:
        raise UsageError(f"{source_name}: [{rule}] {key} = {value:g}: expected {allowed}")
    return float(value)
