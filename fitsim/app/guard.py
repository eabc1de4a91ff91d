"""Who may ask: this machine alone, or on the local network whoever holds the token.

A page of another site must not reach an app on this machine: the name it is asked by and the
page that asks are both checked, on every request and on the live connection.
"""

from __future__ import annotations

import hmac
import secrets
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from aiohttp import web

if TYPE_CHECKING:
    from aiohttp.typedefs import Handler, Middleware

COOKIE = "fitsim_token"
_LOOPBACK = ("127.0.0.1", "localhost", "[::1]", "::1")
_SAFE = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; font-src data:; "
        "img-src 'self' data: blob:; connect-src 'self'; base-uri 'none'; form-action 'none'; "
        "frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}


def new_token() -> str:
    """A token that cannot be guessed."""
    return secrets.token_urlsafe(24)


def guard(token: str | None) -> Middleware:
    """Refuse whoever may not ask.

    Parameters
    ----------
    token : str or None
        Asked of everyone where the app is shared; None where it listens to this machine alone.
    """

    @web.middleware
    async def checked(request: web.Request, handler: Handler) -> web.StreamResponse:
        if not _own_name(request, shared=token is not None):
            raise web.HTTPForbidden(text="Open the address that fitsim printed.")
        if not _own_page(request):
            raise web.HTTPForbidden(text="Another site's page may not ask this app.")
        if token is not None and not _holds(request, token):
            raise web.HTTPForbidden(text="Ask whoever shares this for the whole address.")
        answer = await handler(request)
        if token is not None and request.query.get("token") and not answer.prepared:
            answer.set_cookie(COOKIE, token, httponly=True, samesite="Strict")
        if not answer.prepared:
            answer.headers.update(_SAFE)
        return answer

    return checked


def _own_name(request: web.Request, *, shared: bool) -> bool:
    """Whether it is asked by an address, not by a name that somebody made point here."""
    try:
        name = urlsplit(f"//{request.host}").hostname or ""
    except ValueError:
        return False
    return shared or name in _LOOPBACK


def _own_page(request: web.Request) -> bool:
    """Whether the page that asks, if any, is this app's own."""
    origin = request.headers.get("Origin")
    try:
        return origin is None or urlsplit(origin).netloc == request.host
    except ValueError:
        return False


def _holds(request: web.Request, token: str) -> bool:
    """Whether the token came with the address or, after that, with the cookie."""
    given = request.query.get("token") or request.cookies.get(COOKIE) or ""
    return hmac.compare_digest(given.encode(), token.encode())
