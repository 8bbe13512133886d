"""seccomp: this process makes only the system calls of `system_calls`, and every other one fails.

A filter is a small program that the kernel runs before each call (classic BPF, linux/filter.h and linux/seccomp.h).
"""

from __future__ import annotations

import ctypes
import errno
import os
from collections.abc import Iterable

from analysis.sandbox import system_calls
from analysis.sandbox.kernel import PR_SET_SECCOMP, prctl

# linux/bpf_common.h: load a word; jump if equal, if at least, if any bit is set; return.
_LOAD, _EQUAL, _AT_LEAST, _ANY_BIT, _RETURN = 0x20, 0x15, 0x35, 0x45, 0x06
# linux/seccomp.h: the offsets in what the filter is shown, and its answers.
_NUMBER_AT, _PROCESSOR_AT, _ARGUMENTS_AT, _ARGUMENT_BYTES = 0, 4, 16, 8
_MODE_FILTER = 2
_ALLOW, _KILL, _FAIL = 0x7FFF0000, 0x80000000, 0x00050000

Instruction = tuple[int, int, int, int]  # code, how far to jump if true, if false, value


class _Instruction(ctypes.Structure):
    _fields_ = [("code", ctypes.c_uint16), ("yes", ctypes.c_uint8), ("no", ctypes.c_uint8), ("value", ctypes.c_uint32)]


class _Program(ctypes.Structure):
    _fields_ = [("length", ctypes.c_uint16), ("instructions", ctypes.POINTER(_Instruction))]


def restrict_calls() -> None:
    """Raises OSError where the kernel or this processor has no filter. Needs "no new privileges"."""
    machine = os.uname().machine
    if machine not in system_calls.PROCESSORS:
        raise OSError(errno.ENOSYS, f"no list of system calls for {machine}")
    instructions = filter_for(machine, own_process=os.getpid())
    listed = (_Instruction * len(instructions))(*(_Instruction(*instruction) for instruction in instructions))
    program = _Program(len(instructions), listed)
    prctl(PR_SET_SECCOMP, _MODE_FILTER, ctypes.addressof(program))


def filter_for(machine: str, *, own_process: int) -> list[Instruction]:
    """The filter's instructions. A call in the wrong dialect of the processor (32 bits on 64) ends the process."""
    processor, column = system_calls.PROCESSORS[machine]
    program: list[Instruction] = [
        (_LOAD, 0, 0, _PROCESSOR_AT),
        (_EQUAL, 1, 0, processor),
        (_RETURN, 0, 0, _KILL),
        (_LOAD, 0, 0, _NUMBER_AT),
    ]
    for numbers in system_calls.ALLOWED.values():
        if (number := numbers[column]) is not None:
            program += [(_EQUAL, 0, 1, number), (_RETURN, 0, 0, _ALLOW)]
    for numbers, argument, values in system_calls.ALLOWED_WITH:
        program += _only_with(numbers[column], argument, _EQUAL, values)
    program += _only_with(system_calls.CLONE[column], 0, _ANY_BIT, (system_calls.CLONE_THREAD,))
    program += _only_with(system_calls.TGKILL[column], 0, _EQUAL, (own_process,))
    return [
        *program,
        (_AT_LEAST, 0, 1, system_calls.FIRST_YOUNG_CALL),
        (_RETURN, 0, 0, _FAIL | errno.ENOSYS),
        (_RETURN, 0, 0, _FAIL | errno.EPERM),
    ]


def _only_with(number: int, argument: int, test: int, values: Iterable[int]) -> list[Instruction]:
    """Allow the call if the low half of its argument passes the test with one of the values; else it fails."""
    body: list[Instruction] = [(_LOAD, 0, 0, _ARGUMENTS_AT + _ARGUMENT_BYTES * argument)]
    for value in values:
        body += [(test, 0, 1, value), (_RETURN, 0, 0, _ALLOW)]
    body.append((_RETURN, 0, 0, _FAIL | errno.EPERM))
    return [(_EQUAL, 0, len(body), number), *body]
