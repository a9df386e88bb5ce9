"""Decides what a rule may look at: the features, none of which depends on a threshold of a rule.

NaN is "not known" and holds no term; flags are 0 or 1; times run in seconds.
"""

from typing import Annotated, NamedTuple


class Features(NamedTuple):
    """One row a decision, in the order in which the rule stage takes them."""

    deficit_db: Annotated[float, "level of the downlink below its reference, less what a coarse figure hides"]
    certain_db: Annotated[float, "the least of the loss that neither sun nor measured rain explains"]
    sudden_db: Annotated[float, "the least loss of the last forty seconds, of two readings at least"]
    loss_age_s: Annotated[float, "since the loss set in; 0 while nothing is missing"]
    told_elsewhere: Annotated[float, "flag: gauge, uplink or received level tell of the loss too"]
    mispoint_confidence: Annotated[float, "how likely the dish points off, 0 to 1"]
    rain_confidence: Annotated[float, "how likely rain takes the loss, 0 to 1"]
    blockage_confidence: Annotated[float, "how likely something stands in the beam, 0 to 1"]
    dips: Annotated[float, "short deep drops of the downlink within ten minutes"]
    dip_s: Annotated[float, "how long the last of them lasted, for a minute after it; 0 otherwise"]
    rain_hides: Annotated[float, "flag: rain was seen lately and can take as much as is lost"]
    sun_pass_in_s: Annotated[float, "until the next sun pass starts; 0 while it lasts, inf without one"]
    sun_pass_depth_db: Annotated[float, "what that pass will take at most"]
    sun_pass_now: Annotated[float, "flag: a sun pass is under way, or within the error of its prediction"]
    peaking: Annotated[float, "flag: the dish is being moved, or has just stopped"]
    settling: Annotated[float, "flag: lock came back so recently that the link may not be online"]
    signal_down: Annotated[float, "flag: within ten minutes a link lost enough to explain a low rate"]
    limit_margin_degc: Annotated[float, "degrees of the warmer unit below its limit; inf if not known"]
    to_limit_s: Annotated[float, "until a unit is at its limit on the course to plan for; inf: not in sight"]
    heat_loss_db: Annotated[float, "what a hot transmitter sends less while the downlink is fine"]
    exposure_s: Annotated[float, "sunshine on the longest exposed unit without shade today"]
    blind_exposure_s: Annotated[float, "the same of units whose thermometer has been silent for hours"]
    exposed_now: Annotated[float, "flag: the sun shines on a unit without shade"]
    throughput_ratio: Annotated[float, "rate of the recent tests over the rate to expect, 1"]
    rtt_ratio: Annotated[float, "round trip over what is normal today, 1 where the LAN is the likelier cause"]
    headroom_mbps: Annotated[float, "what the weakest recent uplink tests carry beyond the stream's need"]
    rate_known: Annotated[float, "flag: tests or echoes are fresh enough to tell of the present"]
    uplink_tested: Annotated[float, "flag: uplink tests are fresh enough for the headroom to be known"]
    streaming: Annotated[float, "flag: the crew's notes say that the stream runs"]
    lan_confidence: Annotated[float, "how likely the local network is to blame for a low rate, 0 to 1"]
    network_confidence: Annotated[float, "how likely the network beyond the satellite is, 0 to 1"]
    rate_cause_known: Annotated[float, "flag: the low rate has been laid to a hop"]
    on_battery: Annotated[float, "flag: the supply is a battery"]
    runtime_s: Annotated[float, "how long the battery lasts by its own word"]
    battery_percent: Annotated[float, "charge of the battery"]
    signal_silence: Annotated[float, "age of the last signal reading in usual spacings"]
    signal_age_s: Annotated[float, "age of the last signal reading"]
    other_silence: Annotated[float, "the longest silence of any other input in its usual spacings"]
    other_age_s: Annotated[float, "the same in seconds"]
    clock_stepped_ago_s: Annotated[float, "since the agent's own clock was last set; inf if never"]
    clock_refused_ago_s: Annotated[float, "since a sender's clock was last refused; inf if never"]
    lock_lost_s: Annotated[float, "since lock was lost, heard of twice; 0 with lock and before the first one"]
    unlocked: Annotated[float, "flag: there was lock, and the last word is that there is none"]
    unlocked_long: Annotated[
        float, "flag: lock has been lost for longer than somebody walks through the beam"
    ]
    stream_dead: Annotated[float, "flag: the last test got nothing through in either direction"]
    level_accepted: Annotated[float, "flag: the crew took the level as it is for the reference"]
    below_plan_db: Annotated[float, "reference, or steady level without one, below the plan; NaN if accepted"]
