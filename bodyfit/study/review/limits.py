"""Limits that the checks compare with: each with its unit and where it comes from."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Limit:
    """A number, its unit is in its name's place of use, and its source."""

    value: float
    source: str


# --- joint ranges -------------------------------------------------------------------------------------
RANGE_TOLD_DEG = 5.0  # beyond a published range: what goniometers agree to (common practice)
# a standard deviation between people: knee 8.3°, hip flexion 10.8° (doi:10.1186/s40101-016-0120-8)
RANGE_WARNING_DEG = 10.0
RANGE_SERIOUS_DEG = 20.0  # two of them; by reasoning
RANGE_SPREAD = (
    "standard deviation between people 5 to 11° (doi 10.1186/s40101-016-0120-8, table 3), so over 10° is a "
    "warning, over 20° serious"
)
RANGE_SDS = 2.0  # standard deviations of the estimate below which an excess is only a note; common practice
# Angles that hardly move: a joint's stiffness is the usual spread about neutral
OFF_AXIS = Limit(3.0, "three times the joint's stiffness in the body model, which is common practice")
# --- rates, as joint -> deg/s; a quarter is added to the fastest published motion -------------------------
THROW = "pitching, shoulder internal rotation 7000 to 9000 deg/s (secondary sources), and a ninth more"
KICK = "instep kick, knee extension some 1700 deg/s (from memory), half as much again and more"
FASTEST_DEG_S = {
    "shoulder": Limit(10000.0, THROW),
    "elbow": Limit(5000.0, "pitching, elbow extension some 2500 deg/s (from memory), twice that"),
    "radiocarpal": Limit(5000.0, "pitching, wrist flexion some 2700 deg/s (from memory), near twice that"),
    "hip": Limit(2000.0, "instep kick and sprint, hip flexion some 1000 deg/s (from memory), twice that"),
    "knee": Limit(3000.0, KICK),
    "talocrural": Limit(3000.0, "sprint, ankle some 1200 deg/s (from memory), and more than twice that"),
    "vl5": Limit(2000.0, "pitching, upper trunk 1200 deg/s (from memory), and over half as much again"),
    "skullbase": Limit(2000.0, "no published fastest motion at hand; as the trunk (common practice)"),
}
# by reasoning
FASTEST_OTHER_DEG_S = Limit(10000.0, f"no source for this joint; as the fastest of all: {THROW}")
TO_TOP_RATE_S = 0.02  # s in which the fastest motions reach their top rate, from memory
ACCELERATION_SOURCE = "the joint's fastest rate reached within 20 ms (from memory: a pitch takes some 30 ms)"
ACCELERATION_CUTOFF_HZ = 15.0  # low-pass before the rate is differentiated (Winter 2009, 3.4.4: 6 to 12 Hz)
# --- jumps -----------------------------------------------------------------------------------------------
JUMP_DEG = 12.0  # in one frame, beyond what the neighbours turn; common practice
JUMP_OVER_NEIGHBOURS = 8.0  # times the neighbours' usual difference; common practice
JUMP_SOURCE = "12° more in one frame than its ten neighbours, and eight times their spread (common practice)"
FASTEST_RUN = Limit(12.5, "fastest sprinter, 44.72 km/h = 12.42 m/s (100 m, World Championships 2009)")
ROOT_JUMP = Limit(0.1, "0.1 m more in one frame than its ten neighbours (common practice)")
SLIP_DEG = 20.0  # by reasoning: twice the largest of PMC8631460
SLIP_SOURCE = "20°, twice the largest rotation of a marker cluster on a thigh in gait, 10° (PMC8631460)"
# by reasoning
PLATEAU = Limit(
    0.7,
    "70 % of the time near the largest rate at it; a smooth top stays 32 % (parabola), a clipped one 100 %",
)
# below which no wearable gyroscope ends (smallest usual scale 125 deg/s); data sheets, from memory
SLOW_PLATEAU_DEG_S = 100.0
SWAP = Limit(
    1.2, "a segment turns with its own neighbour rather than with the other side's (common practice)"
)
# --- what the fit says about itself ---------------------------------------------------------------------
GAP = Limit(40.0, "skin against bone 16 to 25 mm (PMC8631460), up to 40 mm at the thigh (from memory)")
DRIFT_TOLD_DEG = 10.0  # chosen; not tried
# data sheet of a wearable-class chip
ZERO_RATE = Limit(3.0, "zero-rate offset of a wearable-class gyroscope: 0.5 deg/s specified, 3 deg/s seen")
SOFT_TISSUE = Limit(10.0, "largest rotation of a marker cluster on a thigh in gait, 10° (PMC8631460)")
# chosen; not tried
HEADING = Limit(20.0, "a relative heading counts as known up to 20° (bodyfit's own limit, docs/method.md)")
# --- angles and sides -----------------------------------------------------------------------------------
# by reasoning
GIMBAL = Limit(
    10.0, "two axes of the sequence within 10° of each other: errors grow over fivefold (1/sin 10°)"
)
ASYMMETRY = Limit(
    16.0,
    "able-bodied gait stays within 12 to 16 % (doi 10.1186/1476-5918-7-17, gait lines); index: Herzog 1989",
)
# difference of the two ranges of motion below which nothing is said; chosen; not tried
ASYMMETRY_WORTH_DEG = 10.0
# --- contact --------------------------------------------------------------------------------------------
DEPTH_TURN_DEG = 2.0  # error of a segment's rotation; tried: docs/validation.md, on people
DEPTH = Limit(
    30.0,
    "30 mm that flesh yields and capsules overstate (common practice), and what 2° (docs/validation.md) make "
    "over the chain of segments between the two",
)
UNDER = Limit(50.0, "50 mm below the standing foot before and after (common practice)")
SLIDE = Limit(0.1, "0.1 m in one stance, four times the most (tried: on a fit of simulated stairs)")
FLOAT = Limit(50.0, "50 mm in one stance: more than a sole yields (common practice)")
# --- forces ---------------------------------------------------------------------------------------------
TORQUE = {  # N·m per kg of body mass
    "hip": Limit(10.0, "sprint at 9 m/s, hip some 4 N·m/kg (Schache 2011, from memory), over twice that"),
    "knee": Limit(10.0, "sprint and drop jump, knee 3.5 to 5 N·m/kg (from memory), twice that"),
    "talocrural": Limit(8.0, "sprint and hop, ankle 3.5 to 4.5 N·m/kg (from memory), near twice that"),
    "vl5": Limit(13.0, "record deadlifts, low back some 1000 N·m (Cholewicki 1991, from memory) at 80 kg"),
    "skullbase": Limit(2.0, "neck strength some 60 N·m (from memory), over twice that at 70 kg"),
    "shoulder": Limit(4.0, "pitching, shoulder some 100 N·m (from memory), near three times that at 70 kg"),
    "elbow": Limit(3.0, "pitching, elbow some 70 to 100 N·m (from memory), over twice that at 70 kg"),
    "radiocarpal": Limit(1.5, "wrist strength some 25 N·m (from memory), four times that at 70 kg"),
}
# by reasoning
PULL = Limit(-0.3, "the ground pushes and never pulls; 0.3 body weights for the filter's ripple")
FRICTION = Limit(
    1.5, "shoe on floor 0.6 to 0.84 (student report), running spikes more; 1.5 (common practice)"
)
IMPACT = Limit(12.0, "triple jump, 7 to 12 body weights (Ramey & Williams 1985, abstract)")
