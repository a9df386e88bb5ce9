"""The truth table of the rules: what raises each, how gravely, what clears and silences it, and its times.

Written beside the rules, not read from them: a number that changes there has to be changed here too, with its
reason. Each statement is "feature side number", and those of one line hold together; flags are told by their
name alone, or "no" and the name. What is judgement stays judgement (common practice in the rules' reasons).
"""

from dataclasses import dataclass, field

from agent.records import Cause, NoteKind, Severity


@dataclass(frozen=True, slots=True)
class Told:
    """One rule. `raised` and `cleared` have a line a clause; `times_s` are hold, clear hold and repeat.

    Once `doubted` has held for a minute, or for a shorter clear hold, a standing alert goes.
    """

    raised: tuple[tuple[Severity, str], ...]
    cleared: tuple[str, ...]
    silenced: frozenset[str]
    times_s: tuple[float, float, float]
    label: str
    doubted: str = ""
    deeds: tuple[NoteKind, ...] = ()
    scored: tuple[Cause, float, float] | None = None  # the label, and seconds early and late
    said: dict[str, str] = field(default_factory=dict)  # codes where nothing decides between several


def words(text: str = "") -> frozenset[str]:
    """The words of a line."""
    return frozenset(text.split())


TRUTH: dict[str, Told] = {
    "link-down": Told(
        raised=(("act", "lock_lost_s >= 30"), ("urgent", "lock_lost_s >= 30, streaming")),
        cleared=("lock_lost_s <= 0",),
        silenced=words("peaking"),
        times_s=(0.0, 120.0, 0.0),
        label="The link is down",
        deeds=("peak-start", "peak-done"),
    ),
    "stream-down": Told(
        raised=(("urgent", "stream_dead, streaming"),),
        cleared=("no stream_dead", "no streaming"),
        silenced=words("unlocked peaking settling"),
        times_s=(30.0, 60.0, 0.0),
        label="The stream is down",
        deeds=("stream-stop",),
        said={"headline": "stream-down"},
    ),
    "shade": Told(
        raised=(
            ("advise", "exposure_s >= 3600, limit_margin_degc <= 5"),
            ("advise", "blind_exposure_s >= 3600"),
            ("act", "exposure_s >= 7200, limit_margin_degc <= 5"),
            ("act", "blind_exposure_s >= 7200"),
            ("act", "to_limit_s <= 1500"),
            ("urgent", "limit_margin_degc <= 0"),
            ("urgent", "heat_loss_db >= 1"),
        ),
        cleared=(
            "limit_margin_degc >= 3, to_limit_s >= 1500, no exposed_now",
            "limit_margin_degc >= 5, to_limit_s >= 1500, blind_exposure_s <= 3600",
        ),
        silenced=words(),
        times_s=(120.0, 300.0, 1800.0),
        label="Shade the unit",
        deeds=("shade-on",),
        scored=("overheat", 7200.0, 900.0),
    ),
    "repeak": Told(
        raised=(
            ("act", "certain_db >= 0.7, mispoint_confidence >= 0.85"),
            ("urgent", "certain_db >= 4, mispoint_confidence >= 0.85"),
        ),
        cleared=(
            "certain_db <= 0.5",
            "rain_hides",
            "sun_pass_now",
        ),
        doubted="mispoint_confidence <= 0.85, no peaking, no unlocked",
        silenced=words("peaking rain_hides sun_pass_now settling unlocked"),
        times_s=(180.0, 60.0, 600.0),
        label="Re-peak the dish",
        deeds=("peak-start", "peak-done"),
        scored=("mispoint", 60.0, 600.0),
        said={"headline": "mispoint", "action": "repeak"},
    ),
    "look-at-dish": Told(
        raised=(
            ("advise", "certain_db >= 0.5, mispoint_confidence >= 0.2, told_elsewhere"),
            ("advise", "certain_db >= 0.65, mispoint_confidence >= 0.5, loss_age_s >= 660"),
        ),
        cleared=(
            "certain_db <= 0.4",
            "rain_hides",
            "sun_pass_now",
            "peaking",
        ),
        doubted="mispoint_confidence <= 0.1",
        silenced=words("peaking rain_hides sun_pass_now settling"),
        times_s=(360.0, 60.0, 900.0),
        label="Look at the dish",
        deeds=("peak-start", "peak-done", "rain", "moved"),
        said={"headline": "look-at-dish", "action": "look-first"},
    ),
    "wait-sun-pass": Told(
        raised=(("advise", "sun_pass_in_s <= 900, sun_pass_depth_db >= 0.5"),),
        cleared=("sun_pass_in_s >= 900",),
        silenced=words(),
        times_s=(0.0, 0.0, 0.0),
        label="Wait: sun pass",
        scored=("sun-pass", 1800.0, 900.0),
    ),
    "wait-rain": Told(
        raised=(
            ("advise", "deficit_db >= 1.3, rain_confidence >= 0.6"),
            ("advise", "deficit_db >= 0.5, rain_hides"),
        ),
        cleared=("deficit_db <= 0.4", "mispoint_confidence >= 0.85"),
        doubted="rain_confidence <= 0.4, no rain_hides",
        silenced=words("peaking sun_pass_now unlocked"),
        times_s=(150.0, 300.0, 600.0),
        label="Wait: rain",
        scored=("rain", 300.0, 900.0),
        said={"action": "wait-rain"},
    ),
    "blockage": Told(
        raised=(
            ("act", "sudden_db >= 3, blockage_confidence >= 0.6"),
            ("advise", "dips >= 3, deficit_db <= 1"),
            ("advise", "dip_s >= 5"),
        ),
        cleared=("sudden_db <= 1, dips <= 1.5", "lock_lost_s >= 30"),
        doubted="blockage_confidence <= 0.4, dips <= 1.5, deficit_db >= 1",
        silenced=words("peaking rain_hides unlocked_long"),
        times_s=(0.0, 120.0, 300.0),
        label="Path blocked",
        scored=("blockage", 60.0, 600.0),
        said={"headline": "blockage", "action": "free-the-beam"},
    ),
    "lower-stream": Told(
        raised=(("act", "headroom_mbps <= 0, streaming"),),
        cleared=("headroom_mbps >= 0.1", "no streaming", "no uplink_tested"),
        silenced=words("peaking"),
        times_s=(60.0, 300.0, 600.0),
        label="Lower the stream",
        deeds=("stream-stop",),
        said={"headline": "stream-not-carried"},
    ),
    "look-at-lan": Told(
        raised=(
            ("act", "throughput_ratio <= 0.75, lan_confidence >= 0.6"),
            ("advise", "lan_confidence >= 0.85"),
        ),
        cleared=(
            "throughput_ratio >= 0.75, lan_confidence <= 0.85",
            "no rate_known",
        ),
        doubted="lan_confidence <= 0.6",
        silenced=words("signal_down peaking settling"),
        times_s=(0.0, 60.0, 600.0),
        label="Look at the LAN",
        scored=("lan", 60.0, 1800.0),
        said={"headline": "lan-loses", "action": "look-at-lan"},
    ),
    "call-network": Told(
        raised=(
            ("advise", "rtt_ratio >= 1.8"),
            ("act", "throughput_ratio <= 0.75, network_confidence >= 0.6"),
        ),
        cleared=("rtt_ratio <= 1.25", "no rate_known"),
        doubted="network_confidence <= 0.6, rtt_ratio <= 1.8",
        silenced=words("signal_down peaking settling"),
        times_s=(0.0, 60.0, 600.0),
        label="Call the network",
        scored=("network", 60.0, 1800.0),
        said={"headline": "network-slow", "action": "call-network"},
    ),
    "throughput-low": Told(
        raised=(("advise", "throughput_ratio <= 0.6"),),
        cleared=("throughput_ratio >= 0.8", "no rate_known"),
        silenced=words("signal_down peaking rate_cause_known"),
        times_s=(300.0, 60.0, 900.0),
        label="Throughput low",
        said={"headline": "rate-low", "action": "repeat-test"},
    ),
    "on-battery": Told(
        raised=(
            ("act", "on_battery"),
            ("urgent", "on_battery, runtime_s <= 900"),
            ("urgent", "on_battery, battery_percent <= 20"),
        ),
        cleared=("no on_battery",),
        silenced=words(),
        times_s=(30.0, 30.0, 60.0),
        label="On battery",
        scored=("power", 60.0, 300.0),
        said={"headline": "battery-headline", "action": "see-to-power"},
    ),
    "no-data": Told(
        raised=(
            ("act", "signal_silence >= 6, signal_age_s >= 240"),
            ("advise", "other_silence >= 6, other_age_s >= 240"),
        ),
        cleared=("signal_silence <= 2, other_silence <= 2",),
        silenced=words(),
        times_s=(0.0, 0.0, 120.0),
        label="No data",
        said={"headline": "input-silent", "action": "see-to-input"},
    ),
    "clock-wrong": Told(
        raised=(("advise", "clock_refused_ago_s <= 120"),),
        cleared=("clock_refused_ago_s >= 120",),
        silenced=words(),
        times_s=(0.0, 0.0, 600.0),
        label="Clock is wrong",
        said={"headline": "clock-wrong", "action": "set-clock"},
    ),
    "clock-stepped": Told(
        raised=(("advise", "clock_stepped_ago_s <= 600"),),
        cleared=("clock_stepped_ago_s >= 600",),
        silenced=words(),
        times_s=(0.0, 0.0, 0.0),
        label="Clock was set",
        said={"headline": "clock-stepped", "action": "keep-clock"},
    ),
    "below-plan": Told(
        raised=(("advise", "below_plan_db >= 1.5"),),
        cleared=("below_plan_db <= 1.2", "level_accepted"),
        silenced=words("peaking rain_hides"),
        times_s=(60.0, 60.0, 86_400.0),
        label="Below the plan",
        deeds=("accept-level", "peak-start", "peak-done"),
        said={"headline": "below-plan-headline"},
    ),
}
