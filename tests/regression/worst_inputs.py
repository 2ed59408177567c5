"""Memory and time of the worst inputs below 10 MB that are known, one process each; a script.

Each is built in a folder of its own and handed to the command within 1.5 GiB of new addresses.
"""

from __future__ import annotations

import gzip
import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np
from capture_files import calf_columns, thigh_columns, write_folder

MOST_BYTES = 1536 * 2**20  # over what the process had, as docs/reliability.md promises
Built = tuple[str, ...]  # words of the command
FIT, INSPECT = ("fit", "FOLDER", "--out", "FOLDER/new"), ("inspect", "FOLDER")
PACKED = [("calf.csv", "calf.csv.gz")]


def _digits(rows: int, cells: int) -> bytes:
    """Rows of random digits, the first cell of each 9."""
    text = np.random.default_rng(1).integers(48, 58, (rows, 2 * cells)).astype("u1")
    text[:, 1::2], text[:, -1], text[:, 2] = ord(","), ord("\n"), ord("9")
    return text.tobytes()


def _many_cells(folder: Path) -> Built:
    """A packed table of 9000 columns that repeats one row."""
    write_folder(folder, setup=PACKED)
    head = ",".join(("ax", "ay", "az", "gx", "gy", "gz", *(f"c{k}" for k in range(9000)))).encode()
    with gzip.open(folder / "calf.csv.gz", "wb") as file:
        file.write(head + b"\n" + (b"1," * 9005 + b"1\n") * 3500)
    return INSPECT


def _long_cells(folder: Path) -> Built:
    """A packed table of long texts, half of them random."""
    write_folder(folder, setup=PACKED)
    junk = np.random.default_rng(1).integers(97, 122, 14_000_000).astype("u1").tobytes()
    with gzip.open(folder / "calf.csv.gz", "wb", 9) as file:
        file.write(b"ax,ay,az,gx,gy,gz,t\n")
        for k in range(0, len(junk), 1000):
            file.write(b"0,1,0,0,0,0," + junk[k : k + 1000] + b"\n")
        file.write((b"0,1,0,0,0,0," + b"x" * 1000 + b"\n") * 200_000)
    return INSPECT


def _many_rows(folder: Path) -> Built:
    """Short rows, ten megabytes of them."""
    write_folder(folder)
    (folder / "calf.csv").write_text("ax,ay,az,gx,gy,gz\n" + "0,1,0,0,0,0\n" * 820_000)
    return INSPECT


def _long_capture(hertz: str, rows: int) -> Callable[[Path], Built]:
    """Two units in one packed table, for as long as is read."""

    def build(folder: Path) -> Built:
        field = 'magnetometer = { columns = ["mx", "my", "mz"], unit = "uT" }\n'
        turns = 'orientation = { columns = ["qx", "qy", "qz", "qw"] }\n'
        setup = [("calf.csv", "t.csv.gz"), ("thigh.csv", "t.csv.gz"), (field + turns, "")]
        setup += [('time = "time_s"\n', f"sampling_frequency = {hertz}\n")]
        setup += [("sampling_frequency = 100.0", f"sampling_frequency = {hertz}")]
        setup += [('["ax", "ay", "az"], unit = "g"', '["bx", "by", "bz"], unit = "m/s^2"')]
        setup += [('["gx", "gy", "gz"], unit = "rad/s"', '["hx", "hy", "hz"], unit = "deg/s"')]
        write_folder(folder, setup=setup)
        with gzip.open(folder / "t.csv.gz", "wb") as file:
            file.write(b"ax,ay,az,gx,gy,gz,bx,by,bz,hx,hy,hz\n" + _digits(rows, 12))
        return FIT

    return build


def _stray_stamp(folder: Path) -> Built:
    time = {"time_s": np.r_[-1.7e9, thigh_columns(600)["time_s"][1:]]}
    write_folder(folder, thigh=thigh_columns(600) | time, calf=calf_columns(600))
    return FIT


def _pause(folder: Path) -> Built:
    """Two pauses, for as long as stamps may be empty."""
    stamps = np.arange(40_000) / 100
    time = {"time_s": stamps + 3700.0 * (stamps > 100) + 3700.0 * (stamps > 300)}
    setup = [("sampling_frequency = 100.0", 'time = "time_s"')]
    write_folder(folder, setup, thigh=thigh_columns(40_000) | time, calf=calf_columns(40_000) | time)
    return FIT


def _mesh(name: str, content: Callable[[], bytes]) -> Callable[[Path], Built]:
    def build(folder: Path) -> Built:
        mesh = [("[segments.r_calf]", f'[segments.r_calf]\nmesh = "{name}"')]
        write_folder(folder, model=mesh)
        (folder / name).write_bytes(content())
        return FIT

    return build


def _summary(folder: Path) -> Built:
    import bodyfit

    write_folder(folder)
    bodyfit.fit(bodyfit.read_capture(folder)).write(folder / "out")
    file = folder / "out" / "summary.json"
    whole = json.loads(file.read_text()) | {"findings": [{}] * 2_400_000}
    file.write_text(json.dumps(whole, separators=(",", ":")))
    return ("report", "FOLDER/out")


def _lists(folder: Path) -> Built:
    write_folder(folder)
    setup = folder / "setup.toml"
    setup.write_text(f"x = [{'[],' * 600_000}]\n" + setup.read_text())
    return INSPECT


PLY = b"""ply
format binary_little_endian 1.0
element vertex 2000000000
property float x
property float y
property float z
element face 1
property list uchar int vertex_indices
end_header
"""
WORST: dict[str, Callable[[Path], Built]] = {
    "122 million cells, packed": _many_cells,
    "texts of 1000 letters, packed": _long_cells,
    "820,000 rows": _many_rows,
    "75 min of two units at 100 Hz": _long_capture("100.0", 450_000),
    "7 h of two units at 2 Hz": _long_capture("2.0", 49_000),
    "2 h of two units at 100 Hz": _long_capture("100.0", 800_000),
    "a stray stamp": _stray_stamp,
    "pauses of an hour": _pause,
    "a mesh of 2,000 million points": _mesh("a.ply", lambda: PLY + bytes(1000)),
    "a mesh of 800,000 triangles": _mesh("a.obj", lambda: b"v 0 0 0\n" * 400_000 + b"f 1 2 3\n" * 800_000),
    "2.4 million findings": _summary,
    "600,000 lists in setup.toml": _lists,
}


def tried(name: str) -> str:
    """What came of one input: bytes, time, peak of memory, exit code and the end of what was printed."""
    from click.testing import CliRunner

    from bodyfit.commands.main import main

    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        words = [word.replace("FOLDER", scratch) for word in WORST[name](folder)]
        size = sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())
        had = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
        resource.setrlimit(resource.RLIMIT_AS, (had + MOST_BYTES, resource.RLIM_INFINITY))
        begun = time.process_time()
        done = CliRunner().invoke(main, words)
        spent = time.process_time() - begun
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    end = "" if done.exit_code == 0 else " ".join(done.output.split())[-120:]
    return f"{name}: {size / 1e6:.2f} MB, {spent:.1f} s, {peak:.2f} GiB, exit {done.exit_code} {end}"


def _main() -> None:
    if sys.argv[1:]:
        for name in sys.argv[1:]:
            print(tried(name), flush=True)
        return
    for name in WORST:
        subprocess.run([sys.executable, __file__, name], check=False)


if __name__ == "__main__":
    _main()
