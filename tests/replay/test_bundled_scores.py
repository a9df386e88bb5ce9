"""The scores of all bundled days that have labels, and that none of them becomes worse.

The labels say what was put into these days. `SCORES` has episodes, detected at least, false alarms at most of
every rule that has an episode or raises an alert; a rule that is not named has neither.
"""

import pytest

from agent.replay.replaying import replay_events, session_plan
from agent.replay.scoring import Interval, score
from agent.replay.sessions import BUNDLED, read_session
from agent.watch.rule_set import default_rules

SCORES: dict[str, dict[str, tuple[int, int, int]]] = {
    "dry-lake-never-shaded": {"shade": (1, 1, 0)},
    "estuary-rain": {"repeak": (1, 1, 0), "wait-rain": (2, 2, 0)},
    "full-network": {"look-at-lan": (1, 1, 0), "call-network": (1, 1, 0)},
    "lagoon-c-band": {"repeak": (1, 1, 0)},
    "mangrove-ka-storms": {"wait-rain": (2, 2, 0), "blockage": (0, 0, 1)},
    "pampa-gusts": {"repeak": (2, 2, 0), "blockage": (1, 1, 0)},
    "plateau-sun-pass": {"shade": (0, 0, 1), "repeak": (1, 1, 0), "wait-sun-pass": (1, 1, 0)},
    "quay-blockages": {"blockage": (3, 2, 0), "look-at-lan": (1, 1, 0)},
    "quiet-dune": {},
    "quiet-poor-sensors": {},
    "salt-pan-summer": {"shade": (1, 1, 0), "repeak": (1, 1, 0)},
    "steppe-power": {"on-battery": (1, 1, 0)},
}


def test_every_bundled_day_is_asserted() -> None:
    assert {path.name for path in BUNDLED.iterdir() if path.is_dir()} == SCORES.keys()


@pytest.mark.parametrize("name", SCORES)
def test_a_bundled_day_scores_no_worse(name: str) -> None:
    session = read_session(BUNDLED / name)
    assert session.labels is not None
    events, _ = replay_events(session, session_plan(session), default_rules())
    found = score(events, session.labels, Interval(session.start_unix_s, session.end_unix_s))
    for rule, one in found.items():
        episodes, detected, false_alarms = SCORES[name].get(rule, (0, 0, 0))
        assert one.episodes == episodes, rule
        assert one.detected >= detected, rule
        assert one.false_alarms <= false_alarms, rule
