"""What was done when, with its probability."""

import matplotlib.pyplot as plt

import bodyfit

table = bodyfit.activities(bodyfit.read_fit("out/stairs")).to_frame()
figure, axes = plt.subplots(figsize=(8, 2.8), layout="constrained")
for row in table.itertuples():
    axes.barh(row.activity, row.end_s - row.start_s, left=row.start_s, color="0.3", alpha=row.probability)
axes.set_xlabel("time, s (paler: less sure)")
figure.savefig("activities.png", dpi=80)
