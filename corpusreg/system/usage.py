"""Memory and computing time of a running process, asked of the system.

Linux: files in /proc. Windows: two calls of the system's libraries. Elsewhere
(macOS and other Unix): the program ps.
"""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

__all__ = ["usage"]

_HAS_PROC = Path("/proc/self/statm").exists()


@dataclass(frozen=True)
class Usage:
    """memory: bytes resident. cpu_seconds: user and system time since the start."""

    memory: int
    cpu_seconds: float


def usage(pid: int) -> Usage | None:
    """What a process uses now, or None when it cannot be told (it has ended, say)."""
    if sys.platform == "win32":
        return _from_windows(pid)
    if _HAS_PROC:
        return _from_proc(pid)
    return from_ps(pid)


def _from_proc(pid: int) -> Usage | None:
    try:
        pages = int(Path(f"/proc/{pid}/statm").read_bytes().split()[1])
        # The fields after the name, which may itself hold spaces and brackets.
        times = Path(f"/proc/{pid}/stat").read_bytes().rpartition(b")")[2].split()[11:13]
    except (OSError, IndexError, ValueError):
        return None
    ticks = sum(int(part) for part in times)
    return Usage(pages * os.sysconf("SC_PAGE_SIZE"), ticks / os.sysconf("SC_CLK_TCK"))


def from_ps(pid: int) -> Usage | None:
    """The same by `ps`, whose memory is in KiB and whose time is [[dd-]hh:]mm:ss[.cc]."""
    try:
        printed = subprocess.run(
            ["ps", "-o", "rss=,time=", "-p", str(pid)],
            capture_output=True,
            text=True,
            env=os.environ | {"LC_ALL": "C"},  # a comma for the point is no number
            check=False,
            timeout=10,
        ).stdout.split()
        days, _, clock = printed[1].rpartition("-")
        seconds = 0.0
        for part in clock.split(":"):
            seconds = seconds * 60 + float(part)
        return Usage(int(printed[0]) * 1024, seconds + 86_400 * int(days or 0))
    except (OSError, subprocess.SubprocessError, IndexError, ValueError):
        return None


def _from_windows(pid: int) -> Usage | None:
    """The same by GetProcessMemoryInfo and GetProcessTimes."""
    if sys.platform != "win32":
        return None
    import ctypes
    from ctypes import wintypes

    class Counters(ctypes.Structure):
        _fields_ = (
            ("size", wintypes.DWORD),
            ("page_faults", wintypes.DWORD),
            ("peak_working_set", ctypes.c_size_t),
            ("working_set", ctypes.c_size_t),
            ("rest", ctypes.c_size_t * 6),
        )

    kernel = ctypes.WinDLL("kernel32")
    kernel.OpenProcess.restype = wintypes.HANDLE
    query_limited_information = 0x1000
    handle = kernel.OpenProcess(query_limited_information, False, pid)
    if not handle:
        return None
    try:
        counters = Counters(size=ctypes.sizeof(Counters))
        times = [wintypes.FILETIME() for _ in range(4)]  # created, ended, kernel, user
        told = kernel.K32GetProcessMemoryInfo(
            wintypes.HANDLE(handle), ctypes.byref(counters), counters.size
        ) and kernel.GetProcessTimes(wintypes.HANDLE(handle), *map(ctypes.byref, times))
    finally:
        kernel.CloseHandle(wintypes.HANDLE(handle))
    if not told:
        return None
    units = sum((time.dwHighDateTime << 32) + time.dwLowDateTime for time in times[2:])
    return Usage(int(counters.working_set), units * 1e-7)
