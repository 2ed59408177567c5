"""People recorded in pieces, units strapped on anyhow: nothing is wrong while sure; more in benchmarks.

The truth is that of a simulation on recorded human motion (mocap.cs.cmu.edu).
"""

from __future__ import annotations

import sys
from pathlib import Path

import bodyfit
from bodyfit.calibration.intake import examine

sys.path.append(str(Path(__file__).parents[1]))
from cut_motion import angles, facings, worn_anyhow

WORN = ("pelvis", "thorax", "r_upperarm", "r_forearm", "r_thigh", "r_calf", "r_hindfoot")


def test_no_unit_and_no_angle_is_wrong_while_sure(recordings):
    """Of this draw the forearm was 68° off at 17° with the usual posture of wrists set narrow."""
    worn = worn_anyhow(recordings / "motions_isb", 1010, WORN)
    found = bodyfit.fit(worn.capture, sensors=("accelerometer", "gyroscope"))
    units = facings(worn, found).set_index("segment")
    assert not ((units.off > 45) & (units.sd < 20)).any()
    assert (units.sd[["pelvis", "thorax", "r_thigh", "r_calf"]] < 20).all()
    of_joints = angles(worn, found)
    assert not ((of_joints.error > 20) & (of_joints.error > 3 * of_joints.sd)).any()


def test_records_that_pause_at_the_same_stamps_keep_one_clock(recordings):
    """Thigh and foot of this draw were moved by 26 s each way, and the fit refused for want of overlap."""
    worn = worn_anyhow(recordings / "motions_isb", 15061, ("r_thigh", "r_calf", "r_hindfoot"))
    intake = examine(worn.capture)
    assert not [f for f in intake.findings if f.kind in ("clock-offset", "clock-adrift")]
    for name, unit in intake.capture.units.items():
        assert unit.time[0] == worn.capture.units[name].time[0]
