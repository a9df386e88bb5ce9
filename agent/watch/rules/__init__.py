"""Decides which rules there are, and the order in which they speak where several do at once."""

from collections.abc import Mapping
from itertools import chain

from agent.watch.rules.below_plan import BELOW_PLAN
from agent.watch.rules.blockage import BLOCKAGE
from agent.watch.rules.call_network import CALL_NETWORK
from agent.watch.rules.clock_stepped import CLOCK_STEPPED
from agent.watch.rules.clock_wrong import CLOCK_WRONG
from agent.watch.rules.link_down import LINK_DOWN
from agent.watch.rules.look_at_dish import LOOK_AT_DISH
from agent.watch.rules.look_at_lan import LOOK_AT_LAN
from agent.watch.rules.lower_stream import LOWER_STREAM
from agent.watch.rules.no_data import NO_DATA
from agent.watch.rules.on_battery import ON_BATTERY
from agent.watch.rules.repeak import REPEAK
from agent.watch.rules.rule import Parameter, Rule
from agent.watch.rules.shade import SHADE
from agent.watch.rules.stream_down import STREAM_DOWN
from agent.watch.rules.throughput_low import THROUGHPUT_LOW
from agent.watch.rules.wait_rain import WAIT_RAIN
from agent.watch.rules.wait_sun_pass import WAIT_SUN_PASS

RULES: Mapping[str, Rule] = {
    rule.name: rule
    for rule in (
        LINK_DOWN, STREAM_DOWN, SHADE, REPEAK, LOOK_AT_DISH, WAIT_SUN_PASS, WAIT_RAIN, BLOCKAGE, LOWER_STREAM,
        LOOK_AT_LAN, CALL_NETWORK, THROUGHPUT_LOW, ON_BATTERY, NO_DATA, CLOCK_WRONG, CLOCK_STEPPED, BELOW_PLAN,
    )
}  # fmt: skip
# One dish, one alert: while the outright rule stands the asking one does not, which comes with the decision in which
# that one goes and its own clause still holds.
ASKING: Mapping[str, str] = {REPEAK.name: LOOK_AT_DISH.name}
PARAMETERS: tuple[Parameter, ...] = tuple(chain.from_iterable(rule.parameters for rule in RULES.values()))
BY_NAME: Mapping[str, Parameter] = {parameter.name: parameter for parameter in PARAMETERS}


def in_words(rule: str) -> str:
    """The rule's name for people; a rule that an earlier version had keeps its name."""
    return RULES[rule].label if rule in RULES else rule
