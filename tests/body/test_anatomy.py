"""Names of sides and parts; angles of both sides mirror each other."""
# pyright: reportGeneralTypeIssues=false, reportOptionalIterable=false, reportAssignmentType=false

import pytest
from scipy.spatial.transform import Rotation

from bodyfit.body.anatomy import mirrored, part_of, side_and_part, standard_angles
from bodyfit.files.model.model_file import read_model

BODY = read_model("whole_body")


@pytest.mark.parametrize(
    ("name", "side", "part", "other"),
    [
        ("l_knee", "l", "knee", "r_knee"),
        ("r_talocrural", "r", "talocrural", "l_talocrural"),
        ("vl5", "", "vl5", None),
        ("lower_arm", "", "lower_arm", None),
        ("segment_1", "", "segment_1", None),
    ],
)
def test_names_tell_side_part_and_twin(name, side, part, other):
    assert side_and_part(name) == (side, part)
    assert part_of(name) == part
    assert mirrored(name) == other


def test_every_sided_part_of_the_whole_body_has_its_twin():
    for names in (BODY.segments, BODY.joints):
        for name in names:
            if (twin := mirrored(name)) is not None:
                assert twin in names and mirrored(twin) == name and part_of(twin) == part_of(name)
    middle = [name for name in BODY.segments if mirrored(name) is None]
    assert "pelvis" in middle and "thorax" in middle and not [n for n in middle if n.endswith("calf")]


@pytest.mark.parametrize("part", ["hip", "knee", "talocrural", "elbow", "radiocarpal"])
def test_mirrored_rotations_have_equal_angles(part):
    """Mirrored in the sagittal plane, a rotation vector keeps its Z component, X and Y change sign."""
    (sequence, angles, right), (_, names, left) = map(standard_angles, (f"r_{part}", f"l_{part}"))
    turn = Rotation.from_euler(sequence, [0.3, 0.2, 0.5])
    twin = Rotation.from_rotvec(turn.as_rotvec() * [-1, -1, 1])
    assert angles == names
    assert right * turn.as_euler(sequence) == pytest.approx(left * twin.as_euler(sequence))


def test_joints_of_the_trunk_have_no_side():
    assert standard_angles("vl5") is not None
    assert standard_angles("l_vl5") is None
    assert standard_angles("knee") is None
