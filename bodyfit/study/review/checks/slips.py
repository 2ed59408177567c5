"""A unit that slips: its segment turns against all its neighbours at once, and stays so."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy.spatial.transform import Rotation

from ....core.findings import Finding
from ....core.rotations import nearest_rotation
from ..limits import SLIP_DEG, SLIP_SOURCE
from ..subject import Reviewed

LONG_S = 1.0  # s on each side that tell where the segment is before and after
APART_S = 2.0  # s, slips of one unit nearer to each other are told once; chosen; not tried
MENDED_S = 1.0  # s about a slip that the fit took off: it lets the unit turn freely there for half of that
STEP_S = 0.12  # s within which a unit slips; chosen; not tried
STRIDE_S = 0.02  # s between the times that are tried; by reasoning: a sixth of the step
ALIKE = 0.4  # share of the step by which the neighbours may disagree about it; chosen; not tried
ALIKE_LASTING = 0.25  # the same for what lasts; chosen; not tried
STAYS = 0.5  # share of the step that is still there on average in the second after; chosen; not tried
# share of the step that is not about the flexion axis of a knee or an elbow; chosen; not tried
OFF_FLEXION = 0.5
# times the next largest sudden turn about the same axis in the whole capture; chosen; not tried
STANDS_OUT = 1.5


def slips(reviewed: Reviewed) -> Iterator[Finding]:
    """Times at which a segment between two others turns against both of them by the same, for good.

    Yields
    ------
    Finding of kind unit-slip

    Notes
    -----
    Seen from a neighbour n, the lasting step is M⁻ᵀ M⁺ with the mean rotations M over the seconds before and
    after; a slip gives the same from every neighbour. Beside a knee or an elbow, one that is not about the
    flexion axis is told as it is, unless a sudden one is there: the turn within 0.12 s, less the mean of
    what the same span before and after turn, is alike from every neighbour, stands out from all of the
    capture about its axis (people repeat what they do), and at least half of it lasts. What looks like a
    knee or an elbow that bends is not told; nor is a hand, a foot or a head, which have one neighbour only.
    A slip that the fit found and took off is told by it, and not again: while a unit slips its segment is
    known from its neighbours only.
    """
    joints = reviewed.poses.model.joints.values()
    for segment in reviewed.poses.model.segments:
        around = [j for j in joints if segment in (j.parent, j.child)]
        sides = [j.parent if j.child == segment else j.child for j in around]
        if len(sides) >= 2 and reviewed.time[-1] - reviewed.time[0] > 2.5 * LONG_S:
            found = _slips_of(reviewed, segment, sides, any(j.flexes_only for j in around))
            mended = reviewed.mended_slips(segment)
            yield from (f for f in found if all(abs((f.start or 0.0) - time) > MENDED_S for time in mended))


def _slips_of(reviewed: Reviewed, segment: str, sides: list[str], hinged: bool) -> Iterator[Finding]:
    stride = max(1, round(STRIDE_S / reviewed.step))
    at = np.arange(0, len(reviewed.time), stride)
    R = reviewed.poses.rotations
    seen = np.stack([(R[n].inv() * R[segment]).as_matrix()[at] for n in sides], 1)
    step = stride * reviewed.step
    sudden, lasting = _sudden(seen, _frames(0.5 * STEP_S, step)), _lasting(seen, step)
    slipped = _slipped_suddenly(sudden, lasting, step, hinged)
    if hinged and not slipped.any():  # after a slip, bends look like further ones
        slipped = _slipped_for_good(lasting)
    size = np.degrees(np.linalg.norm(np.where(slipped[:, None, None], lasting, 0.0), axis=-1).min(1))
    score = np.where(slipped, size, 0.0)
    while score.max(initial=0.0) > 0:
        k = int(np.argmax(score))
        yield _finding(reviewed, segment, sides, float(reviewed.time[at[k]]), float(size[k]))
        near = _frames(APART_S, step)
        score[max(0, k - near) : k + near + 1] = 0.0


def _slipped_suddenly(sudden: np.ndarray, lasting: np.ndarray, step: float, hinged: bool) -> np.ndarray:
    """(T,) bool: one sudden step that all neighbours see alike, that stands out, and half of which stays."""
    size = np.linalg.norm(sudden, axis=-1).min(1)
    stays = np.sum(lasting * sudden, axis=-1) / np.maximum(np.sum(sudden**2, axis=-1), 1e-12)
    slipped = (size > np.radians(SLIP_DEG)) & (_spread(sudden) < ALIKE * size) & (stays.min(1) > STAYS)
    if hinged:  # a knee or an elbow does bend suddenly
        slipped &= _off_flexion(sudden) > OFF_FLEXION * size
    slipped[slipped] = _stand_out(sudden, np.flatnonzero(slipped), _frames(2 * STEP_S, step))
    return slipped


def _slipped_for_good(lasting: np.ndarray) -> np.ndarray:
    """(T,) bool: a lasting step, alike from all neighbours, that a knee or an elbow can't make."""
    size = np.linalg.norm(lasting, axis=-1).min(1)
    return (_off_flexion(lasting) > np.radians(SLIP_DEG)) & (_spread(lasting) < ALIKE_LASTING * size)


def _off_flexion(steps: np.ndarray) -> np.ndarray:
    """(T,) rad: what is not about the segment's Z axis, the smallest over the neighbours."""
    return np.linalg.norm(steps[..., :2], axis=-1).min(1)


def _frames(seconds: float, step: float) -> int:
    return max(1, round(seconds / step))


def _lasting(seen: np.ndarray, step: float) -> np.ndarray:
    """(T, n, 3) rad: rotation from the mean of the seconds before to that of the seconds after."""
    return _steps(seen, _frames(LONG_S, step), _frames(0.5 * STEP_S, step))


def _steps(seen: np.ndarray, span: int, gap: int) -> np.ndarray:
    """(T, n, 3) rad: rotation from the mean over `span` frames before to the mean after; zero at the ends."""
    total = np.concatenate([np.zeros((1, *seen.shape[1:])), np.cumsum(seen, axis=0)])
    out = np.zeros((*seen.shape[:2], 3))
    t = np.arange(span + gap, len(seen) - span - gap)
    if len(t):
        before = nearest_rotation(total[t - gap] - total[t - gap - span])
        after = nearest_rotation(total[t + gap + span] - total[t + gap])
        turn = np.swapaxes(before, -1, -2) @ after
        out[t] = Rotation.from_matrix(turn.reshape(-1, 3, 3)).as_rotvec().reshape(len(t), -1, 3)
    return out


def _sudden(seen: np.ndarray, half: int) -> np.ndarray:
    """(T, n, 3) rad: turn within ± half frames, less the mean turn of the same span before and after."""
    span = 2 * half
    turn = np.swapaxes(seen[:-span], -1, -2) @ seen[span:]
    vectors = Rotation.from_matrix(turn.reshape(-1, 3, 3)).as_rotvec().reshape(*turn.shape[:2], 3)
    out = np.zeros((*seen.shape[:2], 3))
    out[span + half : len(seen) - span - half] = vectors[span:-span] - 0.5 * (
        vectors[: -2 * span] + vectors[2 * span :]
    )
    return out


def _stand_out(sudden: np.ndarray, at: np.ndarray, near: int) -> np.ndarray:
    """(len(at),) bool: what is sudden then is larger along its axis than anything a while before or after."""
    out = np.zeros(len(at), bool)
    for k, t in enumerate(at):  # a handful of candidates, not frames
        axis = sudden[t].mean(0)
        along = np.abs(sudden @ axis).min(1) / np.linalg.norm(axis)
        along[max(0, t - near) : t + near + 1] = 0.0
        out[k] = np.linalg.norm(axis) > STANDS_OUT * along.max()
    return out


def _spread(steps: np.ndarray) -> np.ndarray:
    """(T,) rad: how far the neighbours' steps are from their mean, at most."""
    return np.linalg.norm(steps - steps.mean(1, keepdims=True), axis=-1).max(1)


def _finding(reviewed: Reviewed, segment: str, sides: list[str], time: float, size: float) -> Finding:
    joints = reviewed.poses.model.joints.values()
    return Finding(
        "unit-slip",
        "serious",
        f"{segment} turns by {size:.0f}° against {' and '.join(sides)} at {time:.2f} s, and stays so",
        f"Check whether the unit on {segment} slipped then; use the capture up to that time, or split it "
        "there and calibrate each part",
        segments=(segment,),
        joints=tuple(j.name for j in joints if segment in (j.parent, j.child)),
        start=time,
        end=float(reviewed.time[-1]),
        value=size,
        threshold=SLIP_DEG,
        measure="deg",
        source=SLIP_SOURCE,
        harm_deg=size,
    )
