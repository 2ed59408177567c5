"""The legs from the side, five instants of one second."""

import matplotlib.pyplot as plt
import numpy as np

import bodyfit

poses = bodyfit.read_fit("out/stairs").poses
figure, axes = plt.subplots(figsize=(8, 3.5), layout="constrained")
for shift, time in enumerate(np.linspace(14.0, 15.0, 5)):
    frame = np.searchsorted(poses.time, time)
    pelvis = poses.positions["pelvis"][frame]
    for joint in poses.model.joints.values():
        ends = np.array([poses.positions[name][frame] - pelvis for name in (joint.parent, joint.child)])
        style = "--" if joint.name.startswith("l_") else "-"
        axes.plot(shift + ends[:, 0], ends[:, 1], "o" + style, color="k", markersize=3)
axes.set_aspect("equal")
axes.set_xticks(range(5), [f"{time:.2f} s" for time in np.linspace(14.0, 15.0, 5)])
axes.set_ylabel("against the pelvis, m")
figure.savefig("stick_figures.png", dpi=80)
