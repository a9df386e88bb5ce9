"""The process for the sun: reads job and span, then the beam, and writes what it found (all pickled)."""

import pickle
import sys

from agent.planning.sun_answer import SunAnswer
from agent.planning.sun_part import heat_over, passes_of_the_year


def main() -> None:
    """Heat first, which needs no beam."""
    job, span = pickle.load(sys.stdin.buffer)
    heat = heat_over(job, span)
    beam = pickle.load(sys.stdin.buffer)
    pickle.dump(SunAnswer(heat=heat, passes_year=passes_of_the_year(job, span, beam)), sys.stdout.buffer)
