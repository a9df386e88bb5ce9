"""Every cause that the watch may name has its words, so that no verdict is without a sentence."""

import pytest

from agent.watch.causes.names import LOSS_CAUSES
from agent.watch.words import TEMPLATES


@pytest.mark.parametrize("cause", [cause for cause in LOSS_CAUSES if cause != "clear"])
@pytest.mark.parametrize("code", ["loss-{}", "loss-{}-stream", "may-be-{}"])
def test_every_cause_of_a_loss_has_its_words(cause: str, code: str) -> None:
    assert code.format(cause) in TEMPLATES
