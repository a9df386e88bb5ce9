"""peakshade: plan, watch and review a day on a transportable satellite terminal."""
