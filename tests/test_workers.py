"""Scripts without a guard start processes, which don't run them again and end with them."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

SCRIPT = """
from districtplan.workers import workers
print("begun")
with workers(2) as pool:
    print(*pool.map(abs, [-1, -2]))
print(__file__)
"""

LONG = """
import os, time
from districtplan.workers import workers
with workers(1) as pool:
    print(pool.submit(os.getpid).result(), flush=True)
    pool.submit(time.sleep, 120).result()
"""


def test_a_plain_script_is_not_run_again(tmp_path):
    script = tmp_path / "plain.py"
    script.write_text(SCRIPT, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, script], capture_output=True, text=True, check=False, timeout=60
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.split() == ["begun", "1", "2", str(script)]


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="processes are read of /proc")
def test_who_works_for_a_killed_script_ends_with_it(tmp_path):
    script = tmp_path / "long.py"
    script.write_text(LONG, encoding="utf-8")
    with subprocess.Popen([sys.executable, script], stdout=subprocess.PIPE, text=True) as begun:
        worker = int(begun.stdout.readline())
        os.kill(worker, 0)
        begun.kill()
    try:
        until = time.monotonic() + 10
        while _runs(worker):
            assert time.monotonic() < until, "still at work"
            time.sleep(0.05)
    finally:
        if _runs(worker):
            os.kill(worker, signal.SIGKILL)


def _runs(process: int) -> bool:
    """Tell whether a process is at work; who has ended may wait to be counted by its parent."""
    try:
        state = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rsplit(")", 1)[1].split()
    except FileNotFoundError:
        return False
    return state[0] != "Z"
