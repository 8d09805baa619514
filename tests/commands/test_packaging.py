"""An ordinary installation is whole: a wheel holds every file that the program reads."""

from __future__ import annotations

import shutil
import subprocess
import sys
import sysconfig
import venv
import zipfile
from pathlib import Path

import pytest

from commands.data_folders import environment

ROOT = Path(__file__).parents[2]
PIP = [sys.executable, "-m", "pip", "--disable-pip-version-check"]
READ_AT_RUN_TIME = (
    ".csv", ".toml", ".typ", ".ttf", ".woff2", ".css", ".js", ".svg", ".html", ".png", ".ico", ".txt",
)  # fmt: skip


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Built from a copy, so that nothing that lies about in the working tree gets in."""
    copy = tmp_path_factory.mktemp("source")
    for name in ("pyproject.toml", "README.md"):
        shutil.copy(ROOT / name, copy / name)
    shutil.copytree(
        ROOT / "src", copy / "src", ignore=shutil.ignore_patterns("__pycache__", "*.egg-info")
    )
    out = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [*PIP, "wheel", "-q", "--no-deps", "--no-build-isolation", "-w", str(out), str(copy)],
        check=True,
        capture_output=True,
        timeout=120,
    )
    (built,) = out.glob("thimble-*.whl")
    return built


def test_the_wheel_holds_every_file_that_the_program_reads(wheel: Path) -> None:
    held = set(zipfile.ZipFile(wheel).namelist())
    read = {
        path.relative_to(ROOT / "src").as_posix()
        for path in (ROOT / "src" / "thimble").rglob("*")
        if path.suffix in (*READ_AT_RUN_TIME, ".py") and "__pycache__" not in path.parts
    }

    assert read - held == set()
    for part in (
        "thimble/protocols/us/protocol.toml",
        "thimble/protocols/uk/cases.toml",
        "thimble/clinical/vocabulary.toml",
        "thimble/documents/look.typ",
        "thimble/documents/worker_plan/template.typ",
        "thimble/web/templates/base.html",
        "thimble/web/static/thimble/thimble.css",
    ):
        assert part in held
    assert any(
        name.startswith("thimble/documents/fonts/") and name.endswith(".ttf") for name in held
    )
    assert any(name.endswith(".woff2") for name in held)
    assert not any(name.startswith(("tests/", "data/")) for name in held)


def test_the_installed_command_works_away_from_the_source(wheel: Path, tmp_path: Path) -> None:
    fresh = tmp_path / "fresh"
    venv.create(fresh, with_pip=False)
    python = fresh / "bin" / "python"
    (site_packages,) = (fresh / "lib").glob("python3.*/site-packages")
    subprocess.run(
        [*PIP, "--python", str(python), "install", "-q", "--no-deps", "--no-index", str(wheel)],
        check=True,
        capture_output=True,
        timeout=120,
    )
    # What it depends on is there already; a path file lends it, after the wheel's own files. No
    # link to the working tree is followed: that would be in a .pth of the lender, not read here.
    lent = sysconfig.get_paths()["purelib"]
    ran = subprocess.run(
        [str(fresh / "bin" / "thimble"), "protocol", "check", "us"],
        capture_output=True,
        text=True,
        check=False,
        cwd=tmp_path,
        env={**environment(), "PYTHONPATH": lent},
        timeout=120,
    )
    where = subprocess.run(
        [str(python), "-c", "import thimble; print(thimble.__file__)"],
        capture_output=True,
        text=True,
        check=True,
        cwd=tmp_path,
        env={**environment(), "PYTHONPATH": lent},
        timeout=120,
    )

    assert Path(where.stdout.strip()).is_relative_to(site_packages)
    assert (ran.returncode, ran.stderr) == (0, "")
    assert ran.stdout.startswith("us: ")
