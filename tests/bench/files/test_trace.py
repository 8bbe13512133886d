import shutil
import subprocess

import pytest

from bench.files.trace import kinds, traced

# What libsndfile looks for beside a file that it does not know: a resource fork, by an empty name.
RESOURCE_FORKS = {f"times {name} not opened" for name in ("._", ".AppleDouble/", "/..namedfork/rsrc")}
EXPECTED = {
    "files",
    "times its own file opened",
    "times a library opened",
    "times a library not opened",
} | RESOURCE_FORKS


def why_no_trace() -> str:
    """Some containers forbid tracing (ptrace), however well strace is installed."""
    if shutil.which("strace") is None:
        return "strace is not installed"
    tried = subprocess.run(["strace", "--follow-forks", "-o", "/dev/null", "true"], capture_output=True, check=False)
    return "" if tried.returncode == 0 else f"tracing is not allowed here: {tried.stderr.decode(errors='replace')}"


NO_TRACE = why_no_trace()


@pytest.mark.skipif(bool(NO_TRACE), reason=NO_TRACE or "can be traced")
@pytest.mark.parametrize("name", ["m4a", "crafted"])
def test_decoding_opens_no_other_file_and_no_address(name: str) -> None:
    counts = traced(name, seed=1, each=3)

    assert counts["files"] >= 3
    assert counts["times its own file opened"] >= counts["files"]
    assert set(counts) <= EXPECTED


def test_a_trace_that_shows_more_is_counted() -> None:
    lines = [
        '7 openat(AT_FDCWD, "/before", O_RDONLY) = 3',
        "7 prctl(PR_SET_SECCOMP, SECCOMP_MODE_FILTER, 0x1) = 0",
        '7 openat(AT_FDCWD, "/house/kitpost.sqlite3", O_RDONLY|O_CLOEXEC) = 3',
        '7 openat(AT_FDCWD, "/house/.env", O_RDONLY) = -1 EACCES (Permission denied)',
        '7 open("/tmp/mutant.wav", O_RDONLY) = 4',
        "8 socket(AF_INET, SOCK_DGRAM, IPPROTO_IP) = 5",
        "8 connect(5, {sa_family=AF_INET, sin_port=htons(5004)}, 16) = -1 EPERM (Operation not permitted)",
        "8 clone(child_stack=NULL, flags=SIGCHLD) = 9",
        "8 clone(child_stack=0x7, flags=CLONE_VM|CLONE_THREAD|CLONE_SETTLS) = 10",
    ]

    assert list(kinds(lines, own="/tmp/mutant.wav")) == [  # noqa: S108
        "times /house/kitpost.sqlite3 opened",
        "times /house/.env not opened",
        "times its own file opened",
        "socket done",
        "connect refused",
        "clone done",
    ]
