"""The command line as a person meets it: a server that says where it is, and plain refusals."""

from __future__ import annotations

import signal
import socket
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import httpx
import pytest

from server.bootstrap import ROOT
from server.cli import CannotStart, address_to_open, check_data_dir, listen, main


def server_process(words: Sequence[str]) -> subprocess.Popen[str]:
    return subprocess.Popen(  # noqa: S603  # our own program
        [sys.executable, "-m", "server", *words],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


@pytest.mark.parametrize("ending", [signal.SIGINT, signal.SIGTERM])
def test_it_serves_says_where_and_ends_in_order(tmp_path: Path, ending: signal.Signals) -> None:
    process = server_process(["--port", "0", "--data-dir", str(tmp_path / "new" / "data")])
    assert process.stdout is not None
    line = process.stdout.readline()
    try:
        assert line.startswith("Pumpwright is ready: open http://127.0.0.1:"), process.communicate()
        address = line.split()[-1]
        assert httpx.get(address, follow_redirects=True, timeout=30).status_code == 200
        assert (tmp_path / "new" / "data").is_dir()
    finally:
        process.send_signal(ending)
        _, errors = process.communicate(timeout=30)
    assert "Traceback" not in errors
    assert process.returncode in {0, -ending}


def test_a_taken_port_is_a_sentence_and_not_a_traceback(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with listen("127.0.0.1", 0) as taken:
        port = taken.getsockname()[1]
        code = main(["--port", str(port), "--data-dir", str(tmp_path)])
    assert code == 2
    said = capsys.readouterr().err
    assert f"Port {port} on 127.0.0.1 cannot be opened" in said
    assert "--port" in said


def test_a_data_folder_that_cannot_be_made_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    in_the_way = tmp_path / "file"
    in_the_way.touch()
    assert main(["--port", "0", "--data-dir", str(in_the_way / "data")]) == 2
    assert "--data-dir" in capsys.readouterr().err


def test_a_data_folder_on_a_read_only_system_is_refused() -> None:
    with pytest.raises(CannotStart, match="cannot be written"):
        check_data_dir(Path("/proc/pumpwright"))  # not even the administrator writes here


@pytest.mark.parametrize("port", ["-1", "65536", "http", "8_0", "٨٠"])
def test_a_port_that_is_none_is_refused(port: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main([f"--port={port}"])
    assert ended.value.code == 2
    assert "a number from 0 to 65535" in capsys.readouterr().err


@pytest.mark.parametrize("host", ["no.such.host.invalid", "a" * 300, ".."])
def test_an_unknown_host_is_refused(host: str) -> None:
    with pytest.raises(CannotStart, match="cannot be opened"):
        listen(host, 0)


def test_a_server_on_every_address_names_one_that_opens() -> None:
    with listen("0.0.0.0", 0) as listener:  # noqa: S104  # closed at once
        assert address_to_open(listener) == f"http://127.0.0.1:{listener.getsockname()[1]}/"


def test_the_newer_internet_address_gets_its_brackets() -> None:
    class Listener(socket.socket):
        def getsockname(self) -> tuple[str, int, int, int]:
            return ("::", 8765, 0, 0)

    with Listener() as listener:
        assert address_to_open(listener) == "http://[::1]:8765/"
