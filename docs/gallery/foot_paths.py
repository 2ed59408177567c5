"""How high each foot went: steps of the stairs, stride by stride."""

import matplotlib.pyplot as plt

import bodyfit

found = bodyfit.strides(bodyfit.read_fit("out/stairs"))
figure, axes = plt.subplots(figsize=(8, 3.5), layout="constrained")
for track, style in zip(found.tracks.values(), ("--", "-"), strict=True):
    axes.plot(track.time, track.place[:, 1], style, color="k", linewidth=0.9, label=track.side)
for event in found.events:
    if event.event == "heel_strike":
        axes.axvline(event.time, color="0.8", zorder=0, linewidth=0.6)
axes.set_xlabel("time, s (grey: heel strikes)")
axes.set_ylabel("height of the foot, m")
axes.legend(frameon=False)
figure.savefig("foot_paths.png", dpi=80)
