"""Who may come in: a page of this very server, of this run, on this machine; what goes out says so too."""

import hmac
import secrets
from collections.abc import Mapping

#: Nothing from outside, nothing inline, in no frame of others; text never becomes markup.
_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; "
    "connect-src 'self' {sockets}; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; "
    "require-trusted-types-for 'script'; trusted-types 'none'"
)


class Door:
    """The keys of one run: an address that opens once, and the cookie that it is changed into.

    Parameters
    ----------
    port : int
        Where the server listens.

    Examples
    --------
    >>> door = Door(8000)
    >>> [door.is_own_host(name) for name in ("127.0.0.1:8000", "sheep.example:8000", "localhost")]
    [True, False, False]
    >>> token = door.address.partition("token=")[2]
    >>> door.takes(token), door.takes(token)
    (True, False)
    >>> door.has_come_in({door.cookie_name: door.cookie}), door.has_come_in({})
    (True, False)
    """

    def __init__(self, port: int) -> None:
        self.port = port
        self.cookie = secrets.token_urlsafe(32)
        self._token = secrets.token_urlsafe(32)

    @property
    def address(self) -> str:
        """What a person opens, once."""
        return f"http://127.0.0.1:{self.port}/?token={self._token}"

    @property
    def cookie_name(self) -> str:
        """Cookies know no ports: two servers on a machine keep theirs apart by name."""
        return f"terrain3d-{self.port}"

    def takes(self, token: str) -> bool:
        """Whether a token is the one that opens; it does so once."""
        is_it = bool(self._token) and _is_same(token, self._token)
        if is_it:
            self._token = ""
        return is_it

    def has_come_in(self, cookies: Mapping[str, str]) -> bool:
        """Whether a request brings the cookie of this run."""
        return _is_same(cookies.get(self.cookie_name, ""), self.cookie)

    def is_own_host(self, host: str) -> bool:
        """Whether a request was meant for this machine: any name may resolve to loopback."""
        return host in (f"127.0.0.1:{self.port}", f"localhost:{self.port}")

    def is_own_origin(self, origin: str | None) -> bool:
        """Whether a page of this server asks; None where a browser says nothing of it."""
        return origin is None or (origin.startswith("http://") and self.is_own_host(origin[7:]))

    def headers(self) -> dict[str, str]:
        """What goes with every answer."""
        sockets = f"ws://127.0.0.1:{self.port} ws://localhost:{self.port}"
        return {
            "Content-Security-Policy": _POLICY.format(sockets=sockets),
            "Cross-Origin-Opener-Policy": "same-origin",
            "Cross-Origin-Resource-Policy": "same-origin",
            "Referrer-Policy": "no-referrer",
            "X-Content-Type-Options": "nosniff",
            "X-Frame-Options": "DENY",
            "Cache-Control": "no-store",
        }


def _is_same(given: str, key: str) -> bool:
    """Whether what is given is a key, in a time that tells nothing; it may be any bytes."""
    return hmac.compare_digest(given.encode("utf-8", "replace"), key.encode())
