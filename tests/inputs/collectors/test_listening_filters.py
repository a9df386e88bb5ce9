"""Which maps `listen` may complain about: those that its topic filter concerns."""

import pytest

from agent.inputs.collectors.listening import overlap


@pytest.mark.parametrize(
    ("one", "other", "both"),
    [
        ("sport/tennis/#", "sport/tennis/player1", True),
        ("sport/tennis/#", "sport/tennis", True),
        ("sport/+", "sport/player1", True),
        ("+/+", "/finance", True),
        ("+", "/finance", False),
        ("sport/tennis/+", "sport/tennis/player1/ranking", False),
        ("devices/a", "devices/b", False),
        ("devices/+/x", "devices/b/#", True),
        ("#", "anything", True),
    ],
)
def test_filters_overlap_as_the_standard_matches(one: str, other: str, both: bool) -> None:
    """The first six are examples of MQTT 3.1.1, sections 4.7.1.2 and 4.7.1.3, from memory."""
    assert overlap(one, other) is both
    assert overlap(other, one) is both
