"""How sure the fit is of each angle over time: standard deviations as labelled arrays."""

import matplotlib.pyplot as plt
import numpy as np

import bodyfit

data = bodyfit.read_fit("out/stairs").to_xarray()
seconds = data.angle_sd.groupby(np.floor(data.time).rename("second")).median()
figure, axes = plt.subplots(figsize=(8, 4.5), layout="constrained")
rows = np.arange(seconds.sizes["joint_angle"])
picture = axes.pcolormesh(seconds.second, rows, seconds.transpose("joint_angle", "second"), vmin=0)
axes.set_yticks(rows, seconds.joint_angle.values)
axes.set_xlabel("time, s")
figure.colorbar(picture, label="standard deviation, °")
figure.savefig("how_sure.png", dpi=80)
