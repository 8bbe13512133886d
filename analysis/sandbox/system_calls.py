"""The system calls that decoding, numerical work and Python's imports need, by processor.

Numbers: asm/unistd_64.h for x86-64, asm-generic/unistd.h for 64-bit ARM; None where a processor does not have the call.
What is missing here is refused: sockets, programs, processes, links, mounts, signals, other processes' memory.
Tested in `tests/analysis/sandbox/test_seccomp.py`.
"""

from __future__ import annotations

# As `uname` names them: the audit number of linux/audit.h, and the column in the tables below.
PROCESSORS = {"x86_64": (0xC000003E, 0), "aarch64": (0xC00000B7, 1)}

ALLOWED: dict[str, tuple[int | None, int | None]] = {
    # open files
    "read": (0, 63),
    "write": (1, 64),
    "readv": (19, 65),
    "writev": (20, 66),
    "pread64": (17, 67),
    "pwrite64": (18, 68),
    "lseek": (8, 62),
    "close": (3, 57),
    "close_range": (436, 436),
    "dup": (32, 23),
    "dup2": (33, None),
    "dup3": (292, 24),
    "pipe2": (293, 59),
    "ftruncate": (77, 46),
    "fsync": (74, 82),
    "fdatasync": (75, 83),
    "fadvise64": (221, 223),
    "poll": (7, None),
    "ppoll": (271, 73),
    "select": (23, None),
    "pselect6": (270, 72),
    # paths: which ones, Landlock decides
    "open": (2, None),
    "openat": (257, 56),
    "stat": (4, None),
    "lstat": (6, None),
    "fstat": (5, 80),
    "newfstatat": (262, 79),
    "statx": (332, 291),
    "access": (21, None),
    "faccessat": (269, 48),
    "faccessat2": (439, 439),
    "readlink": (89, None),
    "readlinkat": (267, 78),
    "getdents64": (217, 61),
    "getcwd": (79, 17),
    # memory
    "brk": (12, 214),
    "mmap": (9, 222),
    "munmap": (11, 215),
    "mprotect": (10, 226),
    "mremap": (25, 216),
    "madvise": (28, 233),
    "mbind": (237, 235),
    "get_mempolicy": (239, 236),
    # threads and the end
    "futex": (202, 98),
    "set_robust_list": (273, 99),
    "get_robust_list": (274, 100),
    "rseq": (334, 293),
    "set_tid_address": (218, 96),
    "membarrier": (324, 283),
    "sched_yield": (24, 124),
    "sched_getaffinity": (204, 123),
    "sched_getparam": (143, 121),
    "sched_getscheduler": (145, 120),
    "getcpu": (309, 168),
    "arch_prctl": (158, None),
    "gettid": (186, 178),
    "getpid": (39, 172),
    "getppid": (110, 173),
    "exit": (60, 93),
    "exit_group": (231, 94),
    "restart_syscall": (219, 128),
    # its own signals
    "rt_sigaction": (13, 134),
    "rt_sigprocmask": (14, 135),
    "rt_sigreturn": (15, 139),
    "sigaltstack": (131, 132),
    # clocks and what the machine is
    "clock_gettime": (228, 113),
    "clock_getres": (229, 114),
    "clock_nanosleep": (230, 115),
    "nanosleep": (35, 101),
    "gettimeofday": (96, 169),
    "time": (201, None),
    "times": (100, 153),
    "getrusage": (98, 165),
    "getrlimit": (97, 163),
    "getuid": (102, 174),
    "geteuid": (107, 175),
    "getgid": (104, 176),
    "getegid": (108, 177),
    "uname": (63, 160),
    "sysinfo": (99, 179),
    "getrandom": (318, 278),
}

# Allowed with some values of one argument: the argument's place, and the values.
IOCTL, FCNTL, PRLIMIT64, FALLOCATE = (16, 29), (72, 25), (302, 261), (285, 47)
TCGETS, FIONCLEX, FIOCLEX = 0x5401, 0x5450, 0x5451  # asm-generic/ioctls.h: "is it a terminal?", close on exec
DUPLICATE_LOCK_AND_FLAGS = (*range(8), 36, 37, 38, 1030)  # fcntl.h: all but the signals' owner
OWN_PROCESS = 0
ALLOWED_WITH: tuple[tuple[tuple[int, int], int, tuple[int, ...]], ...] = (
    (IOCTL, 1, (TCGETS, FIONCLEX, FIOCLEX)),
    (FCNTL, 1, DUPLICATE_LOCK_AND_FLAGS),
    (PRLIMIT64, 0, (OWN_PROCESS,)),
    (FALLOCATE, 1, (0,)),  # room past a file's end (FALLOC_FL_KEEP_SIZE) escapes RLIMIT_FSIZE
)
# A thread, never a process: `clone` must carry this flag (linux/sched.h). `clone3` keeps its flags in memory, where a
# filter cannot look; it is refused as unknown, and the C library falls back to `clone`.
CLONE, CLONE_THREAD = (56, 220), 0x10000
# `abort` sends a signal to its own process.
TGKILL = (234, 131)
# From here on calls are young, and the C library asks for them with an older one in reserve.
FIRST_YOUNG_CALL = 424
