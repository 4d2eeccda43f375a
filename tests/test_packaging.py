"""The data travel with the package: in a wheel, in a source archive and in a checkout alike."""

import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
CARRIED = ("learning_curves/curves.csv", "learning_curves/commodities.csv", "sample_boms/floor_scrubber/audit.toml")


def build(kind: str, folder: Path) -> Path:
    code = f"from hatchling.build import build_{kind}; print(build_{kind}({str(folder)!r}))"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    return folder / done.stdout.strip().splitlines()[-1]


def test_the_wheel_carries_its_data_and_finds_them(tmp_path):
    wheel = build("wheel", tmp_path)
    with zipfile.ZipFile(wheel) as archive:
        names = archive.namelist()
        assert not [n for n in names if n.startswith("tests")]
        for name in CARRIED:
            assert f"bomaudit/{name}" in names
        archive.extractall(tmp_path / "site")  # noqa: S202  (an archive made a moment ago, here)
    code = "from bomaudit.resources import data_folder; print(data_folder('learning_curves'))"
    found = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path / "site", capture_output=True, text=True, check=True
    ).stdout.strip()
    assert Path(found) == tmp_path / "site" / "bomaudit" / "learning_curves"


def test_the_source_archive_carries_its_data(tmp_path):
    with tarfile.open(build("sdist", tmp_path)) as archive:
        inner = {name.partition("/")[2] for name in archive.getnames()}
    assert {*CARRIED, "README.md", "pyproject.toml"} <= inner


def test_a_checkout_finds_its_data():
    from bomaudit.resources import data_folder  # noqa: PLC0415  (what is tested)

    assert data_folder("sample_boms").is_dir()
    with pytest.raises(FileNotFoundError, match="install bomaudit again"):
        data_folder("no_such_folder")
