"""NMEA 0183 sentences and distances against published values."""

import pytest

from agent.inputs.devices.nmea import NmeaError, NoFix, Position, checksum, distance_m, position_of

# The example that handbooks of NMEA 0183 share, with its checksum (from memory).
GGA = "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47"
RMC = "$GPRMC,220516,A,5133.82,N,00042.24,W,173.8,231.8,130694,004.2,W*70"


@pytest.mark.parametrize("sentence", [GGA, RMC])
def test_checksum_of_the_handbooks_examples(sentence: str) -> None:
    body, _, expected = sentence[1:].partition("*")
    assert f"{checksum(body):02X}" == expected


def test_position_in_degrees() -> None:
    """48 degrees and 7.038 minutes; west is negative."""
    assert position_of(GGA) == Position(
        pytest.approx(48 + 7.038 / 60), pytest.approx(11 + 31.0 / 60), pytest.approx(545.4)
    )
    assert position_of(RMC) == Position(pytest.approx(51 + 33.82 / 60), pytest.approx(-42.24 / 60), None)


def test_a_receiver_without_a_fix_and_other_sentences() -> None:
    body = "GPGGA,123519,,,,,0,00,,,M,,M,,"
    assert position_of(f"${body}*{checksum(body):02X}") == NoFix()
    body = "GPGSV,1,1,00"
    assert position_of(f"${body}*{checksum(body):02X}") is None


@pytest.mark.parametrize("line", ["", "hello", GGA[:-2], GGA[:-1] + "8", GGA.replace("4807", "4907")])
def test_damaged_lines_are_refused(line: str) -> None:
    with pytest.raises(NmeaError):
        position_of(line)


@pytest.mark.parametrize(
    ("one", "other", "expected_m"),
    [
        # A degree of a great circle is 60 nautical miles of 1852 m by the mile's origin, within 0.2 %.
        (Position(0, 0), Position(1, 0), 60 * 1852),
        (Position(0, 0), Position(0, 1), 60 * 1852),
        # At 60 degrees the parallel is half as long.
        (Position(60, 10), Position(60, 10.1), 60 * 1852 * 0.05),
        (Position(0, 179.95), Position(0, -179.95), 60 * 1852 * 0.1),
        (Position(90, 0), Position(-90, 0), 180 * 60 * 1852),
    ],
)
def test_distances(one: Position, other: Position, expected_m: float) -> None:
    assert distance_m(one, other) == pytest.approx(expected_m, rel=0.002)
    assert distance_m(one, other) == pytest.approx(distance_m(other, one))
