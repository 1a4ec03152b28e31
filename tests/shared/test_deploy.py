"""What stands in .deploy, as far as it can be tried without a machine of its own."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent
UNITS = sorted([*ROOT.glob(".deploy/*.service"), *ROOT.glob(".deploy/*.timer")])


@pytest.mark.skipif(
    shutil.which("systemd-analyze") is None, reason="systemd-analyze is not here"
)
def test_systemd_finds_nothing_wrong_with_the_units(tmp_path):
    for unit in UNITS:
        # The programs are where the README puts them, which is not on this machine.
        text = re.sub(r"/opt/second-crossing/\S+", "/bin/true", unit.read_text())
        (tmp_path / unit.name).write_text(text)
    done = subprocess.run(
        ["systemd-analyze", "verify", *map(str, sorted(tmp_path.iterdir()))],
        capture_output=True,
        text=True,
        check=False,
    )
    ours = [line for line in done.stderr.splitlines() if "second-crossing" in line]
    assert (done.returncode, ours) == (0, [])


def test_the_units_run_what_is_there():
    """Every command of the site that a unit names."""
    text = "".join(unit.read_text() for unit in UNITS)
    commands = set(re.findall(r"manage\.py (\w+)", text))
    assert commands == {"run_jobs", "backup", "clearsessions", "tidy_uploads"}
    ours = {path.stem for path in ROOT.glob("*/management/commands/*.py")}
    assert commands - {"clearsessions"} <= ours
