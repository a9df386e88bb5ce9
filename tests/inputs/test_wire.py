"""Packets of the agent's own broker.

Reference: MQTT 3.1.1 (OASIS Standard, 2014), its examples and tables, whose numbers stand beside the
tests. What clients of other make send is in test_broker.py.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.inputs.broker import wire
from agent.inputs.broker.wire import (
    Answer,
    Bare,
    Connect,
    Message,
    Packet,
    ProtocolError,
    Publish,
    Subscribe,
    Unsubscribe,
    VersionError,
    Wire,
)

BYTES = {
    # Figure 3.6 (0xCE: name, password, will at quality of service 1, clean session; 10 s), with the
    # payload of section 3.1.3 in its order.
    "101b00044d51545404ce000a0001610003612f6200017800017500" + "0170": Connect(
        "a", True, 10, Message("a/b", b"x", 1), "u", b"p"
    ),
    "32070003612f62000a": Publish(Message("a/b", b"", 1), 10, again=False),  # figure 3.11
    "3d090003612f62000a6869": Publish(Message("a/b", b"hi", 2, retain=True), 10, again=True),  # figure 3.10
    "4002000a": Answer(wire.PUBACK, 10),  # figure 3.12
    "62020001": Answer(wire.PUBREL, 1),  # figure 3.16
    "820e000a0003612f62010003632f6402": Subscribe(10, (("a/b", 1), ("c/d", 2))),  # figure 3.23
    "a20c000a0003612f620003632f64": Unsubscribe(10, ("a/b", "c/d")),  # figure 3.31
    "c000": Bare(wire.PINGREQ),  # figure 3.33
    "e000": Bare(wire.DISCONNECT),  # figure 3.35
}
BROKEN = {
    "first byte of a server's packet": "20020000",
    "flags of SUBSCRIBE (figure 3.20)": "800800010003612f6201",
    "quality of service 3 (3.3.1.2)": "36070003612f62000a",
    "packet identifier 0 (2.3.1)": "32070003612f620000",
    "a topic with a wildcard (3.3.2.1)": "30050003612f23",
    "an empty topic (4.7.3)": "30020000",
    "no filter at all (3.8.3)": "8202000a",
    "reserved bits of the options (figure 3.22)": "8208000a0003612f6204",
    "a filter with # in the middle (4.7.1.2)": "820a000a0005612f232f6201",
    "a filter with + in a word (4.7.1.3)": "8208000a0003612b6201",
    "text that is not UTF-8 (1.5.3)": "30050003ff2f62",
    "U+0000 (1.5.3)": "30050003002f62",
    "a length of five bytes (2.2.3)": "30ff808080" + "80",
    "a packet shorter than it says": "3002000 5",
    "a packet longer than it needs": "40030001ff",
    "a password without a name (3.1.2.9)": "100f00044d5154540442000a00016100 0170",
    "the reserved flag (3.1.2.3)": "100d00044d5154540403000a000161",
    "another protocol (3.1.2.1)": "100d00044d5151540402000a000161",
}


def read(data: bytes) -> list[Packet]:
    """All packets in the bytes."""
    one = Wire()
    one.feed(data)
    return list(iter(one.next_packet, None))


@pytest.mark.parametrize("text", [text for text, packet in BYTES.items()])
def test_the_standard_s_examples_are_read(text: str) -> None:
    assert read(bytes.fromhex(text)) == [BYTES[text]]


@pytest.mark.parametrize("text", BROKEN.values(), ids=list(BROKEN))
def test_what_breaks_the_standard_is_refused(text: str) -> None:
    with pytest.raises(ProtocolError):
        read(bytes.fromhex(text.replace(" ", "")))


def test_bytes_may_come_in_any_portions() -> None:
    whole = b"".join(bytes.fromhex(text) for text, packet in BYTES.items())
    one, found = Wire(), []
    for place in range(len(whole)):
        one.feed(whole[place : place + 1])
        found += list(iter(one.next_packet, None))
    assert found == list(BYTES.values())


@pytest.mark.parametrize(
    ("level", "answer"),
    [
        ("00044d515454" + "05", "2003008400"),
        ("00064d514973647003", "20020001"),
        ("00044d51545403", "20020001"),
    ],
)
def test_other_versions_are_told_so(level: str, answer: str) -> None:
    """3.1.1 table 3.1; 5.0 section 3.2.2.2."""
    body = bytes.fromhex(level + "02000a0000000161")
    with pytest.raises(VersionError) as refused:
        read(bytes([0x10, len(body)]) + body)
    assert refused.value.answer == bytes.fromhex(answer)


@pytest.mark.parametrize("length", [0, 1, 127, 128, 16_383, 16_384, 200_000])
def test_what_is_written_is_read_again(length: int) -> None:
    """Property, at the limits of table 2.4."""
    message = Message("a/b", bytes(length), 1, retain=True)
    assert read(wire.published(message, 7, again=True)) == [Publish(message, 7, again=True)]
    still = Message("a/b", bytes(length), 0)
    assert read(wire.published(still, 0, again=False)) == [Publish(still, 0, again=False)]


def test_a_packet_that_is_too_large_is_refused_before_it_is_there() -> None:
    one = Wire()
    one.feed(bytes.fromhex("30ffffff7f"))
    with pytest.raises(ProtocolError, match="262144"):
        one.next_packet()


@given(st.lists(st.sampled_from([bytes.fromhex(t) for t, p in BYTES.items()])), st.data())
def test_no_bytes_do_anything_else(packets: list[bytes], data: st.DataObject) -> None:
    """Property: whatever comes is packets, a wait for more, or one of two errors."""
    whole = bytearray(b"".join(packets) + data.draw(st.binary(max_size=40)))
    for place in data.draw(st.lists(st.integers(0, max(0, len(whole) - 1)), max_size=5)):
        if whole:
            whole[place] = data.draw(st.integers(0, 255))
    try:
        found = read(bytes(whole))
    except (ProtocolError, VersionError):
        return
    assert all(isinstance(one, Packet) for one in found)
