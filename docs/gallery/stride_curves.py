"""Mean joint angles over the stride, left and right, with the standard deviation between strides."""

import bodyfit

fit = bodyfit.read_fit("out/stairs")
strides = bodyfit.strides(fit).strides
sides = {side: [s for s in strides if s.side == side] for side in ("left", "right")}
spans = {side: ([s.start for s in its], [s.end for s in its]) for side, its in sides.items()}
cycles = bodyfit.stride_cycles(fit, spans)
figure = bodyfit.plot_cycles(cycles, ["l_knee", "r_knee", "l_hip", "r_hip"])
figure.savefig("stride_curves.png", dpi=80)
