"""The filter's answers, worked out as the kernel does it, for both processors; on this one it is tried in a child."""

import errno
import re
import struct
from pathlib import Path

import pytest

from analysis.sandbox.seccomp import filter_for
from analysis.sandbox.system_calls import ALLOWED, PROCESSORS

ALLOW, KILL, FAIL = 0x7FFF0000, 0x80000000, 0x00050000
OWN_PROCESS = 4_321
HEADERS = {
    "x86_64": Path("/usr/include/x86_64-linux-gnu/asm/unistd_64.h"),
    "aarch64": Path("/usr/include/asm-generic/unistd.h"),
}


def answer(machine: str, number: int, *arguments: int, processor: int | None = None) -> int:
    """Runs the filter over one call: `struct seccomp_data` of linux/seccomp.h."""
    processor = PROCESSORS[machine][0] if processor is None else processor
    shown = struct.pack("<IIQ6Q", number, processor, 0, *(*arguments, 0, 0, 0, 0, 0, 0)[:6])
    at, held = 0, 0
    program = filter_for(machine, own_process=OWN_PROCESS)
    while True:
        code, yes, no, value = program[at]
        at += 1
        if code == 0x06:
            return value
        if code == 0x20:
            held = struct.unpack_from("<I", shown, value)[0]
        else:
            at += yes if {0x15: held == value, 0x35: held >= value, 0x45: bool(held & value)}[code] else no


# Numbers: asm/unistd_64.h, asm-generic/unistd.h.
@pytest.mark.parametrize(
    ("machine", "number", "arguments", "expected"),
    [
        ("x86_64", 0, (), ALLOW),  # read
        ("aarch64", 63, (), ALLOW),
        ("x86_64", 41, (2, 1), FAIL | errno.EPERM),  # socket
        ("aarch64", 198, (2, 1), FAIL | errno.EPERM),
        ("x86_64", 59, (), FAIL | errno.EPERM),  # execve
        ("aarch64", 221, (), FAIL | errno.EPERM),
        ("x86_64", 57, (), FAIL | errno.EPERM),  # fork
        ("x86_64", 101, (), FAIL | errno.EPERM),  # ptrace
        ("aarch64", 117, (), FAIL | errno.EPERM),
        ("x86_64", 56, (0x3D0F00,), ALLOW),  # clone, with the flags of a thread
        ("aarch64", 220, (0x3D0F00,), ALLOW),
        ("x86_64", 56, (0x11,), FAIL | errno.EPERM),  # ... and with those of a process
        ("aarch64", 220, (0x11,), FAIL | errno.EPERM),
        ("x86_64", 234, (OWN_PROCESS,), ALLOW),  # tgkill
        ("x86_64", 234, (1,), FAIL | errno.EPERM),
        ("aarch64", 131, (1,), FAIL | errno.EPERM),
        ("x86_64", 16, (1, 0x5401), ALLOW),  # ioctl: is it a terminal?
        ("x86_64", 16, (1, 0x5412), FAIL | errno.EPERM),  # ... typing into one
        ("x86_64", 302, (0,), ALLOW),  # prlimit64 of itself
        ("aarch64", 261, (1,), FAIL | errno.EPERM),
        ("x86_64", 425, (), FAIL | errno.ENOSYS),  # io_uring_setup
        ("aarch64", 435, (), FAIL | errno.ENOSYS),  # clone3
    ],
)
def test_answers(machine: str, number: int, arguments: tuple[int, ...], expected: int) -> None:
    assert answer(machine, number, *arguments) == expected


def test_the_32_bit_dialect_ends_the_process() -> None:
    """AUDIT_ARCH_I386, linux/audit.h: there, number 11 is execve."""
    assert answer("x86_64", 11, processor=0x40000003) == KILL


def test_the_x32_dialect_has_no_calls() -> None:
    """__X32_SYSCALL_BIT, asm/unistd.h."""
    assert answer("x86_64", 0x40000000 | 41) != ALLOW


@pytest.mark.parametrize("machine", PROCESSORS)
def test_numbers_are_those_of_the_system(machine: str) -> None:
    header = HEADERS[machine]
    if not header.exists():
        pytest.skip("the headers of the C library are not installed")
    found = re.findall(r"#define __NR(?:3264)?_(\w+)\s+(\d+)", header.read_text("utf-8"))
    numbers = {{"fstatat": "newfstatat"}.get(name, name): int(number) for name, number in found}
    column = PROCESSORS[machine][1]
    ours = {name: both[column] for name, both in ALLOWED.items() if both[column] is not None}

    assert {name: numbers.get(name) for name in ours} == ours
