"""Every cause that the watch may name has its words, so that no verdict is without a sentence."""

from zoneinfo import ZoneInfo

import pytest
from pydantic import TypeAdapter

from agent.watch.causes.names import LOSS_CAUSES
from agent.watch.engine import AlertEngine
from agent.watch.rule_set import default_rules
from agent.watch.words import TEMPLATES, joined, reworded
from agent.wording import Codes, Reader
from tests.plan.sample_job import job
from tests.watch.sample_day import FULL_DAY_PASS, full_day, plan


@pytest.mark.parametrize("cause", [cause for cause in LOSS_CAUSES if cause != "clear"])
@pytest.mark.parametrize("code", ["loss-{}", "loss-{}-stream", "may-be-{}"])
def test_every_cause_of_a_loss_has_its_words(cause: str, code: str) -> None:
    assert code.format(cause) in TEMPLATES


def test_the_codes_that_are_kept_say_what_was_said() -> None:
    """Every event and situation of a day, through the store's form; others read other units."""
    reader = Reader(zone=ZoneInfo(job().site.time_zone))
    kept = TypeAdapter(Codes)
    one, imperial = AlertEngine(job(), plan((FULL_DAY_PASS,)), default_rules()), False
    for reading in full_day():
        for event in one.update(reading):
            now = one.situation()
            said = kept.validate_json(kept.dump_json(event.said))
            assert reworded(said, "evidence", (), reader) == list(event.evidence)
            assert reworded(said, "action", event.action, reader) == [event.action]
            assert joined(reworded(now.said, "verdict", "", reader)) == now.verdict
            assert reworded(now.said, "action", now.action, reader) == [now.action]
            imperial |= "°F" in " ".join(reworded(said, "evidence", (), Reader(imperial=True)))
    assert imperial
