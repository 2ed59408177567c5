"""Knee over hip: the loop that a step draws, and how it differs between the sides."""

import matplotlib.pyplot as plt
import numpy as np

import bodyfit

fit = bodyfit.read_fit("out/stairs")
walking = (fit.time > 10) & (fit.time < 20)
figure, axes = plt.subplots(figsize=(4.5, 4.5), layout="constrained")
for side, style in (("l", "--"), ("r", "-")):
    hip, knee = (fit.joint_angles[f"{side}_{part}"]["flexion"][walking] for part in ("hip", "knee"))
    axes.plot(np.degrees(hip), np.degrees(knee), style, color="k", linewidth=0.8, label=side)
axes.set_xlabel("hip flexion, °")
axes.set_ylabel("knee flexion, °")
axes.legend(frameon=False)
figure.savefig("knee_against_hip.png", dpi=80)
