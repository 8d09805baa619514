"""One demo, built once for all tests of commands that work on a data folder."""

from __future__ import annotations

from pathlib import Path

import pytest

from commands.data_folders import copy, thimble


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Not to be changed: copy it with `demo_copy`."""
    folder = tmp_path_factory.mktemp("demo") / "data"
    built = thimble("demo", "--data", folder, "--build-only")
    assert built.returncode == 0, built.stderr
    return folder


@pytest.fixture
def demo_copy(demo_folder: Path, tmp_path: Path) -> Path:
    return copy(demo_folder, tmp_path / "data")
