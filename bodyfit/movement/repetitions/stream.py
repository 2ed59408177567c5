"""What a search looks at: a fit or a capture as evenly sampled vectors that do not depend on the heading."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.signal import butter, sosfiltfilt

from ...errors import CannotReconstructError
from ...fitting.result import Fit
from ...recording.capture import Capture
from ...recording.resampling import common_signals

SEARCH_HZ = 25.0  # samples a second that are compared (tried: 12.5, 25, on reps_physio_5units)
CUTOFF_HZ = 4.0  # low-pass; limbs' voluntary movements lie below (tried: 3 to 8, on reps_physio_5units)


@dataclass(frozen=True, eq=False)
class Block:
    """Vectors of one kind over time.

    Attributes
    ----------
    kind : "rate", "acceleration" or "joints"
    names : of each vector: the unit, or the joint (twice: two columns of its matrix) or the root (up)
    values : (n, k, 3): rad/s, m/s², or columns of rotation matrices
    known : (n,) bool, samples that were measured
    """

    kind: str
    names: tuple[str, ...]
    values: np.ndarray
    known: np.ndarray

    @property
    def drifts(self) -> bool:
        """Whether it holds posture, which is taken off: all but rates."""
        return self.kind != "rate"


@dataclass(frozen=True, eq=False)
class Stream:
    """A recording as a search sees it.

    Attributes
    ----------
    time : (n,) s of the recording's clock; even but for pauses
    step : s between samples
    blocks : vectors by kind
    """

    time: np.ndarray
    step: float
    blocks: tuple[Block, ...]

    @property
    def known(self) -> np.ndarray:
        """(n,) bool, samples at which everything was measured."""
        return np.logical_and.reduce([block.known for block in self.blocks])

    def samples(self, start: float, end: float) -> tuple[int, int]:
        """First sample of start ≤ time < end (s) and the one after its last."""
        first, last = np.searchsorted(self.time, [start, end])
        return int(first), int(last)


def stream_of(recording: Fit | Capture) -> Stream:
    """The stream of a fit (relative rotations of its joints) or of a capture (rates and accelerations).

    Parameters
    ----------
    recording : a fit, or a capture whose units carry an accelerometer or a gyroscope

    Raises
    ------
    CannotReconstructError
        No unit measures motion, or units share no time.
    """
    return _of_fit(recording) if isinstance(recording, Fit) else _of_capture(recording)


def stream_of_arrays(
    time: np.ndarray, vectors: Mapping[tuple[str, str], np.ndarray], known: np.ndarray | None = None
) -> Stream:
    """The stream of evenly sampled vectors, low-passed and thinned.

    Parameters
    ----------
    time : (T,) s, even but for pauses
    vectors : (kind, name) -> (T, 3), with kind as in `Block`
    known : (T,) bool, or None: all are

    Returns
    -------
    Stream
    """
    step = float(np.median(np.diff(time)))
    masks = {} if known is None else {kind: known for kind, _ in vectors}
    return _stream(time, step, {key: np.asarray(v, float) for key, v in vectors.items()}, masks)


def _of_fit(fit: Fit) -> Stream:
    """First two columns of the matrix of each joint that was measured, and up as the root sees it."""
    R, model = fit.poses.matrices, fit.poses.model
    vectors = {("joints", model.root): R[model.root][:, 1]}  # second row of world_from_root: up in the root
    for name, joint in model.joints.items():
        if name in fit.inferred_joints:
            continue
        relative = np.swapaxes(R[joint.parent], 1, 2) @ R[joint.child]
        vectors |= {("joints", f"{name} {i}"): relative[:, :, i] for i in (0, 1)}
    return stream_of_arrays(fit.time, vectors)


def _of_capture(capture: Capture) -> Stream:
    """Rates and specific forces of every unit that has them."""
    moving = ("gyroscope", "orientation", "accelerometer")
    units = [unit for unit in capture.units.values() if unit.sensors & set(moving)]
    if not units:
        raise CannotReconstructError(
            "no unit carries a gyroscope, an orientation or an accelerometer, so no movement can be "
            "compared; wear at least one that does"
        )
    signals = common_signals(units, units)
    turning = signals.has["gyroscope"] | signals.has["orientation"]
    kinds = {"acceleration": (signals.has["accelerometer"], signals.specific_force, "accelerometer")}
    kinds["rate"] = (turning, signals.rate, "gyroscope")
    vectors = {
        (kind, unit.name): values[:, u]
        for kind, (has, values, _) in kinds.items()
        for u, unit in enumerate(units)
        if has[u]
    }
    masks = {}
    for kind, (_, _, sensor) in kinds.items():
        worn = signals.has[sensor]
        masks[kind] = signals.known[sensor][:, worn].all(1)
    length = len(signals.specific_force)
    time = signals.pauses.true(signals.pauses.shortened(signals.time[:1]) + _even(length, signals))
    return _stream(time, signals.step * signals.stride, vectors, masks)


def _even(length: int, signals) -> np.ndarray:
    return signals.step * signals.stride * np.arange(length)


def _stream(
    time: np.ndarray,
    step: float,
    vectors: Mapping[tuple[str, str], np.ndarray],
    known: Mapping[str, np.ndarray],
) -> Stream:
    """Low-passed, thinned to the search's rate by straight lines between samples."""
    at = np.arange(0.0, len(time) - 1 + 1e-9, max(1.0, 1.0 / (step * SEARCH_HZ)))
    blocks = []
    for kind in dict.fromkeys(kind for kind, _ in vectors):
        names = tuple(name for k, name in vectors if k == kind)
        values = np.stack([vectors[kind, name] for name in names], 1)
        mask = known.get(kind, np.ones(len(time), bool)) & np.isfinite(values).all((1, 2))
        smooth = low_passed(np.where(np.isfinite(values), values, 0.0), 1 / step)
        blocks.append(Block(kind, names, _between(smooth, at), mask[np.round(at).astype(int)]))
    thinned = np.interp(at, np.arange(len(time)), time)
    return Stream(thinned, float(at[1] - at[0]) * step if len(at) > 1 else step, tuple(blocks))


def low_passed(values: np.ndarray, frequency: float) -> np.ndarray:
    """Signals below 4 Hz, no delay (Butterworth, order 2, run both ways).

    Parameters
    ----------
    values : (T, …) array, evenly sampled at `frequency` (Hz)

    Returns
    -------
    (T, …) array
    """
    sections = butter(2, min(CUTOFF_HZ, 0.45 * frequency), fs=frequency, output="sos")
    return sosfiltfilt(sections, values, axis=0, padlen=min(len(values) - 1, int(6 * frequency)))


def _between(values: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Values at places between samples."""
    low = np.minimum(at.astype(int), len(values) - 2)
    share = (at - low).reshape(-1, *[1] * (values.ndim - 1))
    return (1 - share) * values[low] + share * values[low + 1]


@dataclass(frozen=True, eq=False)
class Look:
    """How one movement's channels are made of a stream: what its examples decide.

    Attributes
    ----------
    seconds : s, length of the examples: what is slower is posture, and taken off
    scale : kind -> what its vectors are divided by
    """

    seconds: float
    scale: Mapping[str, float]

    def channels(self, stream: Stream) -> np.ndarray:
        """(n, 3 k) channels of a stream, block by block."""
        parts = [
            _moving(block, self.seconds, stream.step) / self.scale[block.kind] for block in stream.blocks
        ]
        return np.concatenate(parts, 1).reshape(len(stream.time), -1)


def look_of(stream: Stream, examples: Sequence[tuple[int, int]]) -> Look:
    """The look of a movement, from where its examples lie in a stream.

    Parameters
    ----------
    stream : that holds the examples
    examples : first sample, and the one after the last

    Returns
    -------
    Look; each sensor's vectors count by their root mean square in the examples, joints all alike
    """
    seconds = float(np.mean([last - first for first, last in examples])) * stream.step
    scale = {}
    for block in stream.blocks:
        moving = _moving(block, seconds, stream.step)
        inside = np.concatenate([moving[first:last] for first, last in examples])
        scale[block.kind] = float(np.sqrt((inside**2).sum((1, 2)).mean())) or 1.0
    if len({block.kind for block in stream.blocks}) == 1:
        scale = dict.fromkeys(scale, 1.0)
    return Look(seconds, scale)


def _moving(block: Block, seconds: float, step: float) -> np.ndarray:
    """(n, k, 3) vectors, without what is slower than half a movement where they hold posture."""
    if not block.drifts:
        return block.values
    sections = butter(1, min(0.5 / seconds, 0.45 / step), "high", fs=1 / step, output="sos")
    pad = min(len(block.values) - 1, int(3 * seconds / step))
    return sosfiltfilt(sections, block.values, axis=0, padlen=pad)
