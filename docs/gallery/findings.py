"""What a person should know before using the motion: findings of the review on a time line."""

import matplotlib.pyplot as plt

import bodyfit

fit = bodyfit.read_fit("out/stairs")
found = bodyfit.review(fit)
print(found)
figure, axes = plt.subplots(figsize=(8, 3.5), layout="constrained")
for finding in found:
    start = fit.time[0] if finding.start is None else finding.start
    end = fit.time[-1] if finding.start is None else finding.end or finding.start
    axes.plot([start, end], [f"{finding.kind} ({finding.severity})"] * 2, "|-", color="k")
axes.set_xlabel("time, s")
axes.invert_yaxis()
figure.savefig("findings.png", dpi=80)
