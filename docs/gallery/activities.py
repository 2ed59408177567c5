"""What was done when, with its probability."""

import math

import matplotlib.pyplot as plt

import bodyfit

table = bodyfit.activities(bodyfit.read_fit("out/stairs")).to_frame()
figure, axes = plt.subplots(figsize=(8, 2.8), layout="constrained")
for row in table.itertuples():
    sure = 1.0 if math.isnan(row.probability) else row.probability  # rules for a body do not know it
    axes.barh(row.activity, row.end_s - row.start_s, left=row.start_s, color="0.3", alpha=sure)
axes.set_xlabel("time, s (paler: less sure)")
figure.savefig("activities.png", dpi=80)
