"""Joint-centre agreement: no dislocation, so both segments feel the same acceleration where they meet."""

from __future__ import annotations

import numpy as np

from ...core.robust import huber
from ...core.rotations import skew
from .base import Linearised


def joint_centre(
    parent_force: np.ndarray,
    child_force: np.ndarray,
    parents: np.ndarray,
    children: np.ndarray,
    sd: np.ndarray,
    correlated: float,
    known: np.ndarray,
) -> Linearised:
    """Difference of the specific forces that two units report for the joint centre between them.

    Parameters
    ----------
    parent_force, child_force : (K + 1, J, 3) m/s², world frame: R (f + ([α]× + [ω]×[ω]×) r), averaged
        about each keyframe, r from the unit to the joint centre
    parents, children : (J,) units
    sd : (J,) m/s²
    correlated : number of keyframes over which the differences are alike
    known : (K + 1, J) bool

    Returns
    -------
    Linearised, m = 3, m/s², world frame

    Notes
    -----
    r = p − c, ∂r/∂θ_parent = −[p]×, ∂r/∂θ_child = [c]×; the lever arms are held (they are solved for in
    between, being linear once the rotations are known). Sources: Seel et al. 2012,
    doi:10.1109/CCA.2012.6402423; Kok et al. 2014, doi:10.3182/20140824-6-ZA-1003.02252; Weygers & Kok 2020,
    doi:10.1109/JSEN.2020.2982459.
    """
    value = parent_force - child_force
    share = huber(value, sd)
    weight = known * share / (correlated * sd**2)
    jacobians = ((parents, 0, -skew(parent_force)), (children, 0, skew(child_force)))
    return Linearised(
        "joint-centre agreement", value, jacobians, np.repeat(weight[..., None], 3, -1), share=share
    )
