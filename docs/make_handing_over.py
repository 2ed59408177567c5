"""Pictures of docs/handing_over.md: each exported file opened with a library that is not bodyfit's.

Run as `python docs/make_handing_over.py`; takes half a minute. Needs 'bodyfit[test]'.
"""

from __future__ import annotations

import tempfile
import warnings
from pathlib import Path

import numpy as np
from drawing import colour_of

import bodyfit
from bodyfit.core.colours import SIDES

ROOT = Path(__file__).resolve().parents[1]
DEMO = ROOT / "demo_captures" / "steel_stairs"
JOINT = "r_knee"
SHOWN_S = (40.0, 52.0)
DOTS = 95  # dots an inch: readable, and each picture below 150 kB


def main() -> None:
    """Fits the demo, hands it over, opens every file, draws what is in it."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    plt.rcParams.update({"font.size": 9, "axes.spines.top": False, "axes.spines.right": False})
    capture = bodyfit.read_capture(DEMO)
    fit = bodyfit.fit(capture)
    with tempfile.TemporaryDirectory() as scratch:
        out = Path(scratch)
        fit.write(out / "fit")
        kinds = (("c3d", draw_c3d), ("xlsx", draw_sheet), ("nc", draw_netcdf), ("parquet", draw_parquet))
        for ending, draw in kinds:
            fit.export(out / f"x.{ending}")
            save(draw(plt, out / f"x.{ending}"), ending)
        save(draw_scene(plt, out / "fit" / "pose.glb"), "glb")
        bodyfit.export(fit, out / "set", "bids", capture=capture)
        save(draw_bids(plt, out / "set"), "bids")


def save(figure, name: str) -> None:
    """Writes docs/handing_over_<name>.png."""
    figure.savefig(ROOT / "docs" / f"handing_over_{name}.png", dpi=DOTS)


def draw_c3d(plt, path: Path):
    """Points of one frame and a joint's angles with their band, as the package c3d reads them."""
    import c3d

    with warnings.catch_warnings(), open(path, "rb") as file:
        warnings.simplefilter("ignore")
        reader = c3d.Reader(file)
        frames = list(reader.read_frames())
    labels = [label.strip() for label in reader.point_labels]
    points = np.stack([frame[1] for frame in frames])
    time = (np.array([frame[0] for frame in frames]) - 1) / reader.point_rate
    figure = plt.figure(figsize=(9, 3.6), layout="constrained")
    body = figure.add_subplot(1, 3, 1, projection="3d")
    for label, place in zip(labels, points[len(points) // 2], strict=True):
        if "angles" not in label:
            frame = label[-2:] in ("_o", "_x", "_y", "_z")
            body.scatter(place[2], place[0], place[1], s=4 if frame else 22, c="0.6" if frame else "C0")
            if not frame:
                body.text(place[2], place[0], place[1], f" {label}", fontsize=6)
    body.set_aspect("equal")
    body.set(title=f"{len(labels)} points, mm", xticklabels=[], yticklabels=[], zticklabels=[])
    curve = figure.add_subplot(1, 3, (2, 3))
    value, sd = (points[:, labels.index(f"{JOINT}_{word}"), 0] for word in ("angles", "angles_sd"))
    curve.fill_between(time, value - 1.96 * sd, value + 1.96 * sd, color=SIDES["right"], alpha=0.3, lw=0)
    curve.plot(time, value, color=SIDES["right"], lw=0.8)
    curve.set_xlim(*SHOWN_S)
    curve.set(
        xlabel="s", ylabel="deg", title=f"{JOINT}_angles, first of three, with 1.96 of {JOINT}_angles_sd"
    )
    return figure


def draw_sheet(plt, path: Path):
    """First rows of the sheet of ranges, as openpyxl reads them."""
    import openpyxl

    book = openpyxl.load_workbook(path)
    rows = [row[:9] for row in book["ranges"].iter_rows(max_row=10, values_only=True)]
    cells = [
        [f"{c:.2f}" if isinstance(c, float) else "" if c is None else str(c) for c in row] for row in rows
    ]
    figure, axes = plt.subplots(figsize=(11, 2.6), layout="constrained")
    axes.axis("off")
    axes.set_title(f"sheets: {', '.join(book.sheetnames)}; here: ranges", fontsize=9)
    table = axes.table(cells[1:], colLabels=cells[0], loc="center", cellLoc="right")
    table.auto_set_font_size(False)
    table.set_fontsize(8)
    table.auto_set_column_width(range(9))
    return figure


def draw_netcdf(plt, path: Path):
    """An angle and the height of the segments' origins, by xarray's own plots."""
    import xarray

    with xarray.open_dataset(path) as data:
        figure, (angle, place) = plt.subplots(1, 2, figsize=(9, 3.2), layout="constrained")
        data[f"{JOINT}_flexion"].plot(ax=angle, lw=0.8)
        angle.set_title(f"data['{JOINT}_flexion'].plot()")
        data["position"].sel(axis="y").plot.line(x="time", ax=place, lw=0.8)
        place.set_title("data['position'].sel(axis='y')")
        place.legend([str(name) for name in data["segment"].values], fontsize=7, ncols=2, loc="upper right")
    return figure


def draw_parquet(plt, path: Path):
    """Angles of both knees as pandas reads them, and what the file's schema says of one column."""
    import pandas as pd
    import pyarrow.parquet as pq

    table, column = pd.read_parquet(path), f"{JOINT}_flexion"
    told = {k.decode(): v.decode() for k, v in pq.read_schema(path).field(f"{column}_deg").metadata.items()}
    figure, axes = plt.subplots(figsize=(9, 2.8), layout="constrained")
    shown = table[table["time_s"].between(*SHOWN_S)]
    for side, word in (("l", "left"), ("r", "right")):
        name = f"{side}_knee_flexion_deg"
        axes.plot(shown["time_s"], shown[name], color=SIDES[word], lw=0.9, label=name)
    axes.legend(loc="upper left")
    words = "\n".join(f"{column}_deg, {key}: {value}" for key, value in told.items())
    axes.set_title(f"pandas: {len(table)} rows, {table.shape[1]} columns\n{words}", fontsize=8, loc="left")
    axes.set(xlabel="s", ylabel="deg")
    return figure


def draw_bids(plt, folder: Path):
    """Raw samples and angles of a data set, as pandas reads them, and the official validator's count."""
    import json
    import shutil
    import subprocess
    import sys

    import pandas as pd

    beside = Path(sys.executable).parent / "bids-validator-deno"
    tool = shutil.which("bids-validator-deno") or str(beside)
    ran = subprocess.run([tool, str(folder), "-r", "--format", "json"], capture_output=True, text=True)
    found = json.loads(ran.stdout)
    severities = [issue["severity"] for issue in found["issues"]["issues"]]
    counts = f"{severities.count('error')} errors, {severities.count('warning')} warnings"
    files = sorted(path for path in folder.rglob("*_motion.tsv"))
    raw = next(path for path in files if "derivatives" not in path.parts)
    derived = next(path for path in files if "derivatives" in path.parts)
    figure, (samples, angle) = plt.subplots(1, 2, figsize=(11, 3.2), layout="constrained")
    for axes, path, wanted in ((samples, raw, "ACCEL"), (angle, derived, "JNTANG")):
        channels = pd.read_csv(path.with_name(path.name.replace("_motion", "_channels")), sep="\t")
        table = pd.read_csv(path, sep="\t", header=None, names=list(channels["name"]))
        chosen = channels[channels["type"] == wanted]
        some = [n for n in chosen["name"] if wanted == "ACCEL" or n.startswith(JOINT)][:3]
        table[some].iloc[:1500].plot(ax=axes, lw=0.7)
        units = channels.set_index("name").loc[some[0], "units"]
        axes.set_title(path.name, fontsize=7)
        axes.set(xlabel="row", ylabel=units)
        axes.legend(fontsize=7)
    figure.suptitle(f"bids-validator: {counts}", fontsize=9)
    return figure


def draw_scene(plt, path: Path):
    """The meshes of pose.glb where its nodes put them, as trimesh loads them."""
    import trimesh
    from mpl_toolkits.mplot3d.art3d import Poly3DCollection

    scene = trimesh.load(path, force="scene")
    figure = plt.figure(figsize=(4, 4.5), layout="constrained")
    axes = figure.add_subplot(projection="3d")
    meshes = scene.dump()
    for mesh in meshes:
        corners = mesh.vertices[mesh.faces][..., [2, 0, 1]]
        axes.add_collection3d(
            Poly3DCollection(corners, fc=colour_of(mesh.metadata["name"]), ec="0.3", lw=0.15)
        )
    whole = np.concatenate([mesh.vertices for mesh in meshes])[:, [2, 0, 1]]
    for set_limit, low, high in zip(
        (axes.set_xlim, axes.set_ylim, axes.set_zlim), whole.min(0), whole.max(0), strict=True
    ):
        set_limit(low, high)
    axes.set_aspect("equal")
    axes.set(
        title=f"pose.glb in trimesh: {len(meshes)} meshes", xticklabels=[], yticklabels=[], zlabel="Y, m"
    )
    return figure


if __name__ == "__main__":
    main()
