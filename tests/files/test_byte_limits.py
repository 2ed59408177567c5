"""Files of keys and of summaries have a limit on the disk, and an error a length."""

from __future__ import annotations

import pytest

from bodyfit.core.one_line import one_line
from bodyfit.errors import InputError
from bodyfit.files.plain import json_reader, toml_reader


def test_a_toml_file_beyond_its_limit_is_not_read(tmp_path):
    file = tmp_path / "setup.toml"
    file.write_text('title = "a"\n' + "#" * toml_reader.MOST_BYTES)
    with pytest.raises(InputError, match="expected at most 2 MB"):
        toml_reader.read_toml(file)


def test_a_json_file_beyond_its_limit_is_not_read(tmp_path, monkeypatch):
    monkeypatch.setattr(json_reader, "MOST_BYTES", 10)
    (tmp_path / "summary.json").write_text('{"a": [1, 2, 3]}')
    with pytest.raises(InputError, match="expected at most"):
        json_reader.read_json_object(tmp_path / "summary.json", "write it again")


def test_a_line_is_bounded():
    assert len(one_line("word " * 30_000, 200)) < 220
