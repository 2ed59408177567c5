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
    fit = bodyfit.fit(bodyfit.read_capture(DEMO))
    with tempfile.TemporaryDirectory() as scratch:
        out = Path(scratch)
        fit.write(out / "fit")
        for ending, draw in (("c3d", draw_c3d), ("xlsx", draw_sheet), ("nc", draw_netcdf)):
            fit.export(out / f"x.{ending}")
            save(draw(plt, out / f"x.{ending}"), ending)
        save(draw_scene(plt, out / "fit" / "pose.glb"), "glb")


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
