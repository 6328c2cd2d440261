"""Who may ask: this page in a browser on this computer, and no other site.

A foreign site can make a browser send requests here. It cannot make it name this host
(unless its own name is made to point here, so the name is checked), it cannot hide that
the request comes from elsewhere, and it does not know the sign that every form carries.
"""

from __future__ import annotations

import secrets

from corpusreg.system.errors import UsageError

__all__ = ["FOR_PAGES", "FOR_REPORTS", "check", "headers", "same"]

# For the pages of the room; everything they need comes from here, and no one frames them.
FOR_PAGES = (
    "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; "
    "img-src 'self'; frame-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)
# For reports, which have a policy of their own besides: what scores say stands in them,
# so they run as a site of their own that can reach nothing here.
FOR_REPORTS = "sandbox allow-scripts allow-modals; frame-ancestors 'self'"
_OUR_NAMES = ("127.0.0.1", "localhost")
_READING = ("GET", "HEAD")


def check(method: str, host: str, origin: str | None, site: str | None, port: int) -> None:
    """Raise UsageError for a request that this page did not make.

    host, origin, site: the headers Host, Origin and Sec-Fetch-Site, None where they are
    missing; browsers send the last two, other programs need not.
    """
    hosts = [f"{name}:{port}" for name in _OUR_NAMES]
    if host not in hosts:
        raise UsageError(f"this room is at http://{hosts[0]}/ and under no other name")
    typed = site == "none" and method in _READING
    foreign = site not in (None, "same-origin") and not typed
    if foreign or origin not in (None, f"http://{host}"):
        raise UsageError(
            f"requests from other sites are refused; open http://{hosts[0]}/ yourself"
        )


def same(given: str, token: str) -> bool:
    """Whether a form carries the sign of this run."""
    return secrets.compare_digest(given.encode(), token.encode())


def headers(policy: str) -> dict[str, str]:
    """Headers of every answer: nothing is stored, guessed, framed or told to others."""
    return {
        "Content-Security-Policy": policy,
        "Cache-Control": "no-store",
        "X-Content-Type-Options": "nosniff",
        "Referrer-Policy": "same-origin",
        "Cross-Origin-Opener-Policy": "same-origin",
        "Cross-Origin-Resource-Policy": "same-origin",
    }
