"""Both knees and hips over ten seconds, with 95 % bands and published ranges."""

import bodyfit

fit = bodyfit.read_fit("out/stairs")
figure = fit.plot_joints(["l_knee", "r_knee", "l_hip", "r_hip"])
for panel in figure.axes:
    panel.set_xlim(10, 20)
figure.savefig("joint_angles.png", dpi=80)
