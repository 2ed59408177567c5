"""Draws reconstruction.png (for the README) and frames.png (for conventions.md).

python docs/picture.py
"""

from __future__ import annotations

from pathlib import Path

import matplotlib as mpl
import numpy as np

mpl.use("Agg")
import matplotlib.pyplot as plt
from drawing import colour_of, draw_axes, draw_body, view
from matplotlib.axes import Axes

import bodyfit
from bodyfit.body.motion.poses import PoseSequence, from_joint_angles
from bodyfit.body.person import Person
from bodyfit.core.colours import FAINT, INK
from bodyfit.files.motion.motion_file import read_motion

HERE = Path(__file__).resolve().parent
DEMO = HERE.parent / "demo_captures" / "parcel_lift"
INSTANTS = (4.4, 5.0, 6.0, 6.8, 8.3, 10.4, 13.4)  # s
SPAN = (4.0, 19.0)  # s
CURVES = (("vl5", "flexion"), ("l_knee", "flexion"), ("r_elbow", "flexion"))


def draw_instants(axes: Axes, poses: PoseSequence, seen: np.ndarray) -> None:
    """The body at several instants, side by side on one floor."""
    for i, instant in enumerate(INSTANTS):
        frame = int(np.argmin(np.abs(poses.time - instant)))
        draw_body(axes, poses, frame, seen, (0.9 * i, 0.0))
        axes.text(0.9 * i, -0.16, f"{instant:.1f} s", ha="center", va="top", color=INK, fontsize=9)
    axes.set_xlim(-0.6, 0.9 * len(INSTANTS) - 0.4)
    axes.set_aspect("equal")
    axes.set_axis_off()


def draw_curves(axes: Axes, poses: PoseSequence, truth: PoseSequence) -> None:
    """Joint angles as found, and the truth behind them."""
    for joint, angle in CURVES:
        for motion, width, colour in ((truth, 4.0, FAINT), (poses, 1.3, colour_of(joint))):
            inside = (motion.time >= SPAN[0]) & (motion.time <= SPAN[1])
            curve = np.degrees(motion.joint_angles[joint][angle][inside])
            axes.plot(motion.time[inside], curve, color=colour, lw=width)
        axes.text(
            SPAN[1] + 0.1, curve[-1], f"{joint} {angle}", color=colour_of(joint), fontsize=9, va="center"
        )
    for instant in INSTANTS:
        axes.axvline(instant, color=INK, lw=0.5, alpha=0.4)
    axes.set_xlim(*SPAN)
    axes.set_xlabel("time, s")
    axes.set_ylabel("angle, °")
    axes.spines[["top", "right"]].set_visible(False)


def reconstruction() -> None:
    """One parcel lifted: the body as found, and three of its angles."""
    capture = bodyfit.read_capture(DEMO)
    found = bodyfit.fit(capture).poses
    truth = read_motion(DEMO / "truth" / "segments.csv.gz", capture.model, capture.person)
    figure, (top, bottom) = plt.subplots(
        2, 1, figsize=(8.2, 5.0), height_ratios=(1.5, 1), layout="constrained"
    )
    draw_instants(top, found, view(150.0, 12.0))
    draw_curves(bottom, found, truth)
    figure.savefig(HERE / "reconstruction.png", dpi=130)


def frames() -> None:
    """The neutral pose with the frame of every segment."""
    model = bodyfit.read_model("whole_body").scaled(Person(stature_m=1.75, mass_kg=70.0))
    poses = from_joint_angles(model, np.zeros(1), {})
    seen = view(50.0, 14.0)
    figure, axes = plt.subplots(figsize=(4.2, 5.6), layout="constrained")
    draw_body(axes, poses, 0, seen, (0.0, 0.0), pale=0.55)
    for place in (poses.positions or {}).values():
        draw_axes(axes, np.eye(3), seen @ place[0], seen, 0.13, names=False)
    draw_axes(axes, np.eye(3), np.array([0.75, -0.85]), seen, 0.25, names=True)
    axes.text(0.75, -1.02, "world", ha="center", color=INK, fontsize=9)
    axes.set_aspect("equal")
    axes.set_axis_off()
    figure.savefig(HERE / "frames.png", dpi=110)


if __name__ == "__main__":
    reconstruction()
    frames()
