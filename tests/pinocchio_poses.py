"""What pinocchio makes of a motion, to compare ours with."""

import numpy as np
import pinocchio
from scipy.spatial.transform import Rotation


def through_pinocchio(poses):
    """Positions, rotations and centre of mass as pinocchio computes them, frame by frame.

    Slower than the properties of `PoseSequence`, which do the same over all times at once; it says what the
    body does when its joints are held exactly to their types.

    Parameters
    ----------
    poses : with known joint centres

    Returns
    -------
    positions : segment name -> (T, 3) m
    rotations : segment name -> Rotation of length T, world_from_segment
    centre_of_mass : (T, 3) m; NaN when the model has no masses
    """
    model = poses.model.pinocchio()
    data = model.createData()
    frames = {name: model.getFrameId(name) for name in poses.model.segments}
    placed, com = [], []
    for q in poses.configurations():  # pinocchio takes one configuration at a time
        pinocchio.framesForwardKinematics(model, data, q)
        placed.append([data.oMf[frame].homogeneous for frame in frames.values()])
        com.append(pinocchio.centerOfMass(model, data, q).copy())
    H = np.array(placed)
    positions = {name: H[:, index, :3, 3] for index, name in enumerate(frames)}
    rotations = {name: Rotation.from_matrix(H[:, index, :3, :3]) for index, name in enumerate(frames)}
    return positions, rotations, np.array(com)
