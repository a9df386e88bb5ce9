"""The main place of a time zone, from the table of the tzdata package."""

import re
from importlib.resources import files

# Latitude and longitude in ISO 6709 sign-degrees-minutes-seconds, as the table's own heading says.
PLACE = re.compile(r"([+-])(\d{2})(\d{2})(\d{2})?([+-])(\d{3})(\d{2})(\d{2})?")


def zone_place(name: str) -> tuple[float, float] | None:
    """Latitude and longitude (deg) of a zone's main place; None for an alias and UTC."""
    for line in files("tzdata").joinpath("zoneinfo", "zone.tab").read_text(encoding="utf-8").splitlines():
        columns = line.split("\t")
        if len(columns) > 2 and columns[2] == name and (found := PLACE.fullmatch(columns[1])):
            parts = found.groups(default="0")
            return _degrees(*parts[:4]), _degrees(*parts[4:])
    return None


def _degrees(sign: str, degrees: str, minutes: str, seconds: str) -> float:
    value = int(degrees) + int(minutes) / 60.0 + int(seconds) / 3600.0
    return -value if sign == "-" else value
