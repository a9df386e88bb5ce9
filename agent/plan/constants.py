"""Physical constants that more than one module of the plan needs, each with its source."""

SPEED_OF_LIGHT_M_S = 299_792_458.0  # BIPM, The International System of Units, 9th ed. (2019), section 2.2
BOLTZMANN_DBW_HZ_K = -228.5991672  # 10 log10 of 1.380649e-23 J/K, BIPM, as above
STANDARD_TEMPERATURE_K = 290.0  # reference temperature of noise figures, IEEE Std 145

WGS84_SEMI_MAJOR_M = 6_378_137.0  # NGA.STND.0036, World Geodetic System 1984, table 3.1
WGS84_FLATTENING = 1.0 / 298.257223563  # NGA.STND.0036, table 3.1
# Nominal radius of the geostationary orbit; station-keeping moves a satellite by tens of kilometres about it.
GEOSTATIONARY_RADIUS_M = 42_164_000.0

SECONDS_PER_DAY = 86_400.0

HANDBOOK = "Maral and Bousquet, Satellite Communications Systems, ch. 5"
