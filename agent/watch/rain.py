"""Decides what rain takes from the downlink."""

from agent.link_plan import LinkPlan
from agent.watch.in_path import in_path_loss_db

VIOLENT_RAIN_MM_H = 100.0  # twice where "violent" begins; hardly any path sees more (common practice)


def rain_loss_db(rain_mm_h: float, plan: LinkPlan) -> float:
    """Fall of the downlink's Es/N0 (dB) in this rain, from the plan's by the power law of ITU-R P.838.

    A gauge at the site stands for a path of some kilometres: right within a factor of two. 0 where the plan
    knows no rain. Raises ValueError on a plan whose downlink ends at the satellite.
    """
    design = plan.downlink
    if rain_mm_h <= 0.0 or not design.rain_rate_mm_h > 0.0:
        return 0.0
    if design.system_noise_k is None:
        raise ValueError("the noise temperature of the terminal's own receiver is missing from the plan")
    attenuation_db = design.rain_at_rate_db * (rain_mm_h / design.rain_rate_mm_h) ** design.rain_exponent
    return in_path_loss_db(attenuation_db, design.system_noise_k)
