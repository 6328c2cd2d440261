"""Which calls of the system a boxed program may not make, as a filter for the kernel.

The filter is a classic BPF program, an array of instructions of eight bytes. It refuses
what would start another process, what opens a second way to memory that no limit counts
(shared segments, files in memory, message queues), and what makes namespaces, mounts or
keys or looks into other processes. Threads are allowed.

Sources: Linux, Documentation/userspace-api/seccomp_filter.rst; numbers of the calls from
asm/unistd_64.h (x86-64) and asm-generic/unistd.h (aarch64).
"""

from __future__ import annotations

import platform
import struct

__all__ = ["call_filter"]

_ARCHITECTURES = {"x86_64": 0xC000003E, "aarch64": 0xC00000B7}
# Numbers on x86-64 and on aarch64.
_REFUSED: dict[str, tuple[int, int]] = {
    "add_key": (248, 217), "bpf": (321, 280), "chroot": (161, 51), "fsmount": (432, 432),
    "fsopen": (430, 430), "io_uring_setup": (425, 425), "kcmp": (312, 272),
    "keyctl": (250, 219), "memfd_create": (319, 279), "memfd_secret": (447, 447),
    "mount": (165, 40), "mount_setattr": (442, 442), "move_mount": (429, 429),
    "mq_open": (240, 180), "msgget": (68, 186), "name_to_handle_at": (303, 264),
    "open_by_handle_at": (304, 265), "open_tree": (428, 428), "perf_event_open": (298, 241),
    "personality": (135, 92), "pidfd_getfd": (438, 438), "pivot_root": (155, 41),
    "process_vm_readv": (310, 270), "process_vm_writev": (311, 271), "ptrace": (101, 117),
    "request_key": (249, 218), "semget": (64, 190), "setns": (308, 268), "shmget": (29, 194),
    "socket": (41, 198), "socketpair": (53, 199), "umount2": (166, 39), "unshare": (272, 97),
    "userfaultfd": (323, 282),
}  # fmt: skip
_FORK, _VFORK = 57, 58  # x86-64 alone has them
_CLONE = {"x86_64": 56, "aarch64": 220}
_CLONE3 = 435
_X32 = 0x40000000  # calls of the 32-bit kind on x86-64, which have numbers of their own

# Where the number of the call, the architecture and the first argument stand.
_NUMBER, _ARCHITECTURE, _FIRST = 0, 4, 16
_LOAD, _EQUAL, _AT_LEAST, _ANY_BIT, _RETURN = 0x20, 0x15, 0x35, 0x45, 0x06
_ALLOW, _END_PROCESS, _ERROR = 0x7FFF0000, 0x80000000, 0x00050000
_NOT_PERMITTED, _NO_SUCH_CALL = _ERROR | 1, _ERROR | 38
_THREAD = 0x00010000  # CLONE_THREAD


def call_filter(*, alone: bool) -> bytes:
    """The filter for this machine; b'' where its processor is not known.

    alone: no other process may be started.
    """
    machine = platform.machine()
    if machine not in _ARCHITECTURES:
        return b""
    column = list(_ARCHITECTURES).index(machine)
    code = [
        _step(_LOAD, _ARCHITECTURE),
        _step(_EQUAL, _ARCHITECTURES[machine], 1, 0),
        _step(_RETURN, _END_PROCESS),
        _step(_LOAD, _NUMBER),
    ]
    if machine == "x86_64":
        code += _refuse(_AT_LEAST, _X32, _NO_SUCH_CALL)
    for numbers in _REFUSED.values():
        code += _refuse(_EQUAL, numbers[column], _NOT_PERMITTED)
    if alone:
        if machine == "x86_64":
            code += _refuse(_EQUAL, _FORK, _NOT_PERMITTED)
            code += _refuse(_EQUAL, _VFORK, _NOT_PERMITTED)
        # Its arguments cannot be seen; libraries then use the older call.
        code += _refuse(_EQUAL, _CLONE3, _NO_SUCH_CALL)
        code += [
            _step(_EQUAL, _CLONE[machine], 0, 3),
            _step(_LOAD, _FIRST),
            _step(_ANY_BIT, _THREAD, 1, 0),
            _step(_RETURN, _NOT_PERMITTED),
        ]
    return b"".join([*code, _step(_RETURN, _ALLOW)])


def _refuse(test: int, number: int, error: int) -> list[bytes]:
    return [_step(test, number, 0, 1), _step(_RETURN, error)]


def _step(code: int, value: int, if_true: int = 0, if_false: int = 0) -> bytes:
    """One instruction; the last two numbers are instructions to pass over."""
    return struct.pack("=HBBI", code, if_true, if_false, value)
