"""What can hurt someone around a transportable terminal, in sentences for the crew.

Common practice of the trade. Each sentence gives way to local codes, the makers' manuals and licensed people.
"""

SITE_CAUTIONS = (
    (
        "Licence: transmit only under a licence that covers this terminal, place and carrier, and after "
        "the operator has cleared the line-up; stop when told to."
    ),
    (
        "Mains: use an outlet with earth and a residual-current device, keep plugs and reels dry and "
        "unrolled, and leave fixed wiring to a licensed electrician under the local code."
    ),
    (
        "Generator: run it outdoors and downwind (exhaust gas kills), earth it as its manual and the "
        "local code say, refuel it cold, and feed transmitter and modem through a UPS or a surge "
        "protector."
    ),
    (
        "Wind: ballast or anchor the base as its manual says and stow the dish before the wind limit of "
        "its data sheet; a dish that tips over hurts people and leaves the beam anywhere."
    ),
    (
        "Lightning: at the first thunder stow the dish, unplug and go indoors or into a closed car; wait "
        "30 minutes after the last thunder. Bonding and surge arresters belong to licensed people and the "
        "local code."
    ),
    (
        "Drones, cranes and lifts: keep them out of the beam and of the sector in front of the dish; tell "
        "their pilots and drivers where it is, and follow the local rules of the air."
    ),
    (
        "Lifting: two people for what weighs over 25 kg, gloves, and fingers away from motor drives: "
        "isolate the drive before reaching in."
    ),
)
SUN_CAUTION = (
    "Crew heat: shade, water and breaks for people as well as for the transmitter; stop at the first "
    "sign of heat illness and call the local emergency service."
)
RF_CLOSE_CAUTION = (
    "RF: nobody reaches between feed and dish, or looks into the feed, while the transmitter is on: "
    "isolate it first. People with medical implants stay farther away and ask their doctor."
)
