"""``sewermap serve`` as a user runs it: it says where, ends when asked, and tells in one line why it cannot."""

import os
import signal
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest

from sewermap.serve.running import bind
from tests.cli.running import PROGRAM, sewermap


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_it_serves_until_it_is_stopped(town_where: str, tmp_path: Path, how: signal.Signals) -> None:
    """It tells the address, answers there, says nothing on standard output, and leaves no file behind when it is stopped."""
    root = str(Path(__file__).parents[2])
    environment = {**os.environ, "PYTHONPATH": root, "TMPDIR": str(tmp_path)}
    command = [*PROGRAM, "serve", "--db", town_where, "--port", "0"]
    with subprocess.Popen(
        command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, encoding="utf-8"
    ) as served:
        assert served.stderr is not None
        try:
            line = next(line for line in served.stderr if "serving" in line)
            url = line.split(" at ")[1].split()[0]
            with urllib.request.urlopen(url, timeout=60) as answer:  # noqa: S310 - our own server
                assert answer.status == 200
                assert answer.url.endswith("/index.html")
            assert [entry.name for entry in tmp_path.iterdir() if entry.name.startswith("sewermap-serve-")]
        finally:
            served.send_signal(how)
        out, err = served.communicate(timeout=60)
    assert out == ""
    assert "Traceback" not in err
    assert served.returncode in {0, -signal.SIGTERM}
    assert [entry.name for entry in tmp_path.iterdir() if entry.name.startswith("sewermap-serve-")] == []


def test_a_taken_port_is_one_line(town_where: str) -> None:
    """A port that another server of ours has, ready or not, and an address that is not this machine's are errors of one line."""
    with bind("127.0.0.1", 0) as other:
        port = other.getsockname()[1]
        done = sewermap("serve", "--db", town_where, "--port", port)
    assert done.is_one_line_error
    assert f"port {port}" in done.err
    assert sewermap("serve", "--db", town_where, "--host", "192.0.2.7", "--port", 0).is_one_line_error


def test_a_missing_library_is_one_line(town_where: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the libraries it says what to install."""
    from sewermap.cli import serve  # noqa: PLC0415 - only here

    monkeypatch.setattr(serve, "find_spec", lambda _name: None)
    done = sewermap("serve", "--db", town_where)
    assert done.is_one_line_error
    assert "pip install 'sewermap[serve]'" in done.err


def test_a_missing_database_is_one_line(tmp_path: Path) -> None:
    """No database, no server, one line."""
    assert sewermap("serve", "--db", tmp_path / "none.gpkg", "--port", 0).is_one_line_error


def test_other_commands_do_not_pay_for_it() -> None:
    """Neither the command line nor the book imports a server's libraries."""
    program = (
        "import sys, sewermap, sewermap.cli; sewermap.open; import sewermap.cli.serve; "
        "print(sorted({'starlette', 'uvicorn', 'pygeoapi', 'anyio'} & set(sys.modules)))"
    )
    root = str(Path(__file__).parents[2])
    done = subprocess.run(
        [sys.executable, "-c", program], env={**os.environ, "PYTHONPATH": root}, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"
