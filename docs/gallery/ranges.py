"""How far each joint turned: 2nd to 98th percentile of every angle, from the tidy table."""

import matplotlib.pyplot as plt

import bodyfit

table = bodyfit.read_fit("out/stairs").to_frame()
spans = table.groupby(["joint", "angle"], observed=True).value_deg.quantile([0.02, 0.98]).unstack()
names = [f"{joint} {angle}".replace("_", " ") for joint, angle in spans.index]
figure, axes = plt.subplots(figsize=(8, 4.5), layout="constrained")
axes.barh(names, spans[0.98] - spans[0.02], left=spans[0.02], color="0.4")
axes.invert_yaxis()
axes.set_xlabel("2nd to 98th percentile, °")
figure.savefig("ranges.png", dpi=80)
