"""Decides what no source tells: each number with why, and what the bench loses without it."""

from collections.abc import Mapping
from typing import NamedTuple

from agent.watch.causes.names import LossCause


class Judgement(NamedTuple):
    """One number of judgement."""

    value: float
    why: str


# How often what takes signal begins: on an average day of ten hours on the air.
A_DAY = {
    "still": Judgement(
        0.55, "a gust or knock turns the dish, or the satellite's power steps, on every other day"
    ),
    "slow": Judgement(0.6, "a tripod sinks or a clamp slips as often"),
    "rain": Judgement(0.9, "showers; a few in a hundred hours rain (ITU-R P.837)"),
    "steady-rain": Judgement(0.6, "rain of a front"),
    "cloud": Judgement(0.3, "a cloud thick enough to be felt"),
    "drying": Judgement(0.15, "dew on the reflector"),
}
# How often one course becomes another at the level that it has, a minute.
A_MINUTE = {
    **{
        (slow, "still"): Judgement(1 / 60, "what sinks comes to rest")
        for slow in ("creeping", "sinking", "slipping")
    },
    ("creeping", "sinking"): Judgement(1 / 60, "and does not do so evenly"),
    ("sinking", "creeping"): Judgement(1 / 60, "as above"),
    ("sinking", "slipping"): Judgement(1 / 60, "as above"),
    ("slipping", "sinking"): Judgement(1 / 60, "as above"),
    ("still", "sinking"): Judgement(1 / 400, "what was knocked may go on sinking"),
    ("still", "creeping"): Judgement(1 / 400, "as above"),
    ("rain", "steady-rain"): Judgement(1 / 10, "a shower calms down to a front's rain"),
    ("steady-rain", "rain"): Judgement(1 / 10, "a front has its showers"),
    ("rain", "drying"): Judgement(1 / 40, "after the rain the reflector is wet"),
    ("steady-rain", "drying"): Judgement(1 / 40, "as above"),
    ("rain", "still"): Judgement(1 / 400, "a squall turns the dish"),
    ("steady-rain", "still"): Judgement(1 / 400, "as above"),
    ("cloud", "rain"): Judgement(1 / 200, "a cloud begins to rain"),
}
# How long a course lasts, after which nothing is missing (s).
ENDS_S = {
    "still": Judgement(12_000.0, "a gust pushes a dish back now and then; a satellite's power comes back"),
    "drying": Judgement(1800.0, "a wet reflector dries in half an hour"),
    "cloud": Judgement(2400.0, "clouds pass"),
}
# Which causes make a course, in what shares.
CAUSES_OF: Mapping[str, Mapping[LossCause, Judgement]] = {
    "clear": {"clear": Judgement(1.0, "nothing worth a word")},
    "still": {
        "mispoint": Judgement(0.60, "gusts and knocks"),
        "satellite": Judgement(0.22, "power steps of satellite or hub come and go within hours"),
        "interference": Judgement(0.12, "a neighbour that switches on"),
        "blockage": Judgement(0.04, "who parks in the beam and stays"),
        "reflector": Judgement(0.02, "a cover, a bag"),
    },
    **{
        slow: {
            "mispoint": Judgement(0.68, "sinking and slipping"),
            "reflector": Judgement(0.15, "dew, snow, ice"),
            "drift": Judgement(0.07, "the LNB warms, a connector lets go"),
            "cloud": Judgement(0.06, "a front draws in"),
            "satellite": Judgement(0.04, "it rains or snows at the hub"),
        }
        for slow in ("creeping", "sinking", "slipping")
    },
    "rain": {
        "rain": Judgement(0.92, "the course is rain's own"),
        "interference": Judgement(0.05, "a neighbour that comes and goes"),
        "satellite": Judgement(0.03, "it rains at the hub"),
    },
    "steady-rain": {
        "rain": Judgement(0.97, "as above"),
        "satellite": Judgement(0.03, "as above"),
    },
    "drying": {"reflector": Judgement(1.0, "as above")},
    "cloud": {"cloud": Judgement(1.0, "as above")},
}
# What stands in the beam comes on top of any course: how often on such a day, and for how long (s).
COVERS = {
    "passing": (Judgement(2.0, "people walk through, vehicles pass"), Judgement(25.0, "within seconds")),
    "parked": (
        Judgement(0.4, "somebody parks in the beam"),
        Judgement(400.0, "most are asked to move within minutes"),
    ),
}
# How much it takes: median (dB) and spread (log).
COVER_DB = (
    Judgement(4.5, "a body in the beam takes more than half of the power"),
    Judgement(0.9, "a twig or a truck"),
)
