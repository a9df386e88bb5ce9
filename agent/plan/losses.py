"""The losses that matter: what takes Es/N0 between a perfect path and the availability."""

from math import isnan, log10

from agent.link_plan import Budget


def loss_steps(budget: Budget, symbol_rate_msps: float) -> list[tuple[str, float]]:
    """Es/N0 (dB) after each loss that the terminal, the sky or others cause; free space and noise are before.

    Empty where the link is not defined or the booked rate needs no known Es/N0.
    """
    noise_db = budget.cn0_dbhz - 10.0 * log10(symbol_rate_msps * 1e6)
    if isnan(noise_db) or isnan(budget.required_esno_db):
        return []
    aimed_db = noise_db + budget.pointing_loss_db + budget.polarisation_loss_db + budget.gas_clear_db
    steps = [
        ("perfectly aimed, no air", aimed_db),
        ("pointing and feed", aimed_db - budget.pointing_loss_db - budget.polarisation_loss_db),
        ("gas in clear sky", noise_db),
        ("interference, other hop", budget.esno_clear_db),
        ("rain, cloud, availability", budget.esno_faded_db),
    ]
    # What nothing causes is not drawn.
    pairs = zip(steps, steps[1:], strict=False)
    return [steps[0], *(after for before, after in pairs if before[1] - after[1] > 0.005)]
