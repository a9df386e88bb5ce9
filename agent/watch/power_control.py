"""Whether the network makes up for what an uplink loses, where the modem does not tell what it sends."""

from dataclasses import dataclass
from math import exp, log

CONTROLLED = 0.2  # chance that a terminal is told to send more when its uplink loses (judgement)
LEARNT_IN = 30.0  # decisions of a loss: five minutes, so that no single reading teaches
SURELY = 4.0  # log-odds; a downlink may have lost by itself all the same


@dataclass(slots=True)
class PowerControl:
    """Learns from losses of the downlink that cost the uplink less than anything would."""

    lately: float = 0.0  # evidence of the last minutes of loss, as log-odds
    most: float = 0.0  # the strongest that it has been

    def learn(self, spared: float) -> None:
        """One decision of a loss; `spared` is by how many standard deviations the uplink lost too little."""
        self.lately += (0.5 * spared * spared - self.lately) / LEARNT_IN
        self.most = max(self.most, self.lately)

    @property
    def chance(self) -> float:
        """How likely it does (0 to 1)."""
        return 1.0 / (1.0 + exp(-log(CONTROLLED / (1.0 - CONTROLLED)) - min(self.most, SURELY)))
