"""What a plan needs of the sun."""

from dataclasses import dataclass

from agent.link_plan import HeatOutlook, SunPass


@dataclass(frozen=True, slots=True, kw_only=True)
class SunAnswer:
    """Heat over the span, and the sun passes of twelve months from its start or of the span if longer."""

    heat: HeatOutlook
    passes_year: tuple[SunPass, ...]
