"""pose.glb before the Khronos validator (npm gltf-validator); and twice the same bytes."""

from __future__ import annotations

import io
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from some_fit import NAMES, demo_fit

from bodyfit.files.account import account_of
from bodyfit.files.scene.gltf import write_pose

MODULES = Path(sys.prefix) / "node" / "node_modules"  # where .ci/run installs it
ASK = """
const validator = require('gltf-validator');
validator.validateBytes(new Uint8Array(require('fs').readFileSync(0)))
    .then(report => console.log(JSON.stringify(report.issues)));
"""


def written(name: str) -> bytes:
    file = io.BytesIO()
    fit = demo_fit(name)
    write_pose(file, fit.poses, account_of(fit.summary, fit.findings).as_text())
    return file.getvalue()


def issues(data: bytes) -> dict:
    """What the validator counts."""
    node = shutil.which("node")
    if node is None:
        pytest.skip("node is not here, which runs the Khronos glTF validator")
    paths = os.pathsep.join(filter(None, (str(MODULES), os.environ.get("NODE_PATH"))))
    ran = subprocess.run(
        [node, "-e", ASK], input=data, capture_output=True, env=os.environ | {"NODE_PATH": paths}
    )
    if b"Cannot find module 'gltf-validator'" in ran.stderr:
        pytest.skip(f"the validator is not here: npm install --prefix {MODULES.parent} gltf-validator")
    return json.loads(ran.stdout)


@pytest.mark.parametrize("name", NAMES)
def test_no_error_and_no_warning(name):
    found = issues(written(name))
    assert (found["numErrors"], found["numWarnings"]) == (0, 0), found["messages"]


def test_the_validator_would_see_an_error():
    data = written("cello_arm").replace(b'"VEC4"', b'"VEC9"', 1)
    assert issues(data)["numErrors"] > 0


def test_identical_bytes_on_two_runs():
    assert written("parcel_lift") == written("parcel_lift")
