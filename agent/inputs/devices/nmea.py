"""Positions in the sentences of a GNSS receiver (NMEA 0183). Pure."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from math import asin, cos, radians, sin, sqrt

SENTENCE = re.compile(r"\$(?P<body>[^$*\r\n]{5,})\*(?P<checksum>[0-9A-Fa-f]{2})")
ANGLE = re.compile(r"(?P<degrees>\d{2,3})(?P<minutes>[0-5]\d(?:\.\d*)?)")
NO_FIX = "0"
EARTH_RADIUS_M = 6_371_008.8  # mean radius of GRS 80 (Moritz, Geodetic Reference System 1980, 2000)


class NmeaError(ValueError):
    """No sound sentence; the text says what, got and expected."""


@dataclass(frozen=True, slots=True)
class Position:
    """Where the receiver is, degrees, east and north positive; `height_m` above the geoid."""

    latitude_deg: float
    longitude_deg: float
    height_m: float | None = None


@dataclass(frozen=True, slots=True)
class NoFix:
    """The receiver works and does not know yet where it is."""


def checksum(body: str) -> int:
    """The exclusive or of the characters between `$` and `*`, 0 to 255."""
    return reduce(lambda total, character: total ^ ord(character), body, 0)


def position_of(line: str) -> Position | NoFix | None:
    """What a line says of the position; None for a sentence about something else. Raises NmeaError."""
    match = SENTENCE.search(line)
    if match is None:
        raise NmeaError(f"no NMEA 0183 sentence: {line[:60]!r}")
    expected = checksum(match["body"])
    if int(match["checksum"], 16) != expected:
        raise NmeaError(f"checksum is {match['checksum']}, computed {expected:02X}: {line[:60]!r}")
    address, *fields = match["body"].split(",")
    if address.endswith("GGA") and len(fields) >= 9:
        return NoFix() if fields[5] in ("", NO_FIX) else _position(fields[1:5], fields[8])
    if address.endswith("RMC") and len(fields) >= 6:
        return _position(fields[2:6], "") if fields[1] == "A" else NoFix()
    return None


def _position(fields: Sequence[str], height: str) -> Position:
    latitude_deg = _angle(fields[0], fields[1], "NS", 90.0)
    longitude_deg = _angle(fields[2], fields[3], "EW", 180.0)
    try:
        return Position(latitude_deg, longitude_deg, float(height) if height else None)
    except ValueError:
        raise NmeaError(f"height is {height!r}; expected metres") from None


def _angle(text: str, side: str, sides: str, limit_deg: float) -> float:
    match = ANGLE.fullmatch(text)
    if match is None or side not in sides or not side:
        raise NmeaError(
            f"angle is {text!r} {side!r}; expected degrees and minutes, and {sides[0]} or {sides[1]}"
        )
    angle_deg = int(match["degrees"]) + float(match["minutes"]) / 60.0
    if angle_deg > limit_deg:
        raise NmeaError(f"angle is {text!r}; expected at most {limit_deg:g} degrees")
    return angle_deg if side == sides[0] else -angle_deg


def distance_m(one: Position, other: Position) -> float:
    """Great-circle distance on a sphere, within 0.6 % of that on the ellipsoid, metres.

    Haversine formula (Sinnott, Virtues of the Haversine, Sky and Telescope 68, 1984).
    """
    one_deg, other_deg = radians(one.latitude_deg), radians(other.latitude_deg)
    half_latitude = (other_deg - one_deg) / 2.0
    half_longitude = radians(other.longitude_deg - one.longitude_deg) / 2.0
    square = sin(half_latitude) ** 2 + cos(one_deg) * cos(other_deg) * sin(half_longitude) ** 2
    return 2.0 * EARTH_RADIUS_M * asin(sqrt(min(1.0, square)))
