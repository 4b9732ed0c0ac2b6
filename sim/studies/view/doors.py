"""Who is let in: this machine alone, pages that came from here, and whoever knows the word of this session.

The page holds nothing of the scene.  It is handed out to anyone who asks at our own address; what is shown in it comes
through one socket, to whom the token is known.  The token stands in the fragment of the address, which browsers send
to nobody.  A page of another site cannot open the socket (its origin is another), nor can a name that was turned to
this machine (its host is another).

Before a page on this machine says its token, the program has to show that it knows it: the page says a number that it
has just thrown, and is given the keyed hash of it (HMAC, RFC 2104, with SHA-256).  So a page that looks for a program
that has ended tells its token to no other program that may have taken the port meanwhile.  (Browsers calculate hashes
in pages from this machine only; those of a network say their token at once, and it is never used again.)
"""

from __future__ import annotations

import hashlib
import hmac
import http
import json
import re
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from websockets.datastructures import Headers, MultipleValuesError
from websockets.http11 import Request, Response

if TYPE_CHECKING:
    from websockets.sync.server import ServerConnection

SOCKET_PATH: Final = "/live"
LONGEST_MESSAGE: Final = 16_384
"""Bytes of a message from a page; the longest that it has to say is some hundred."""
FIRST_WORD_S: Final = 10.0
TOKEN_BYTES: Final = 24
THROWN: Final = re.compile(r"[0-9a-f]{32,64}")
"""What a page throws before it says its token."""


@dataclass(frozen=True, slots=True)
class Door:
    """One address that pages come in by.

    Attributes
    ----------
    hosts
        What the host of a request may be: names of this very address, with the port.
    tokens
        For each token whether it lets one move things, or only look.
    """

    hosts: frozenset[str]
    tokens: dict[str, bool]

    def answer(self, request: Request, page: Callable[[str, str], str]) -> Response | None:
        """Answer a request: the page, a refusal, or None to open the socket; `page` takes host and nonce."""
        try:
            host = request.headers.get("Host")
            origin = request.headers.get("Origin")
        except MultipleValuesError:
            return refusal(http.HTTPStatus.BAD_REQUEST, "one host and one origin")
        if getattr(request, "method", "GET") != "GET":
            return refusal(http.HTTPStatus.METHOD_NOT_ALLOWED, "there is nothing to do but look")
        if host not in self.hosts:
            return refusal(http.HTTPStatus.FORBIDDEN, "this is not its address")
        if request.path == SOCKET_PATH:
            if origin != f"http://{host}":
                return refusal(http.HTTPStatus.FORBIDDEN, "only its own page may ask")
            return None
        if request.path != "/":
            return refusal(http.HTTPStatus.NOT_FOUND, "there is one page, at /")
        return page_response(host, page)

    def may_edit(self, first: str | bytes) -> bool | None:
        """What the first message of a page lets it do: True to move things, False to look, None for nothing."""
        given = message_of(first)
        token = given.get("token") if given else None
        if not isinstance(token, str):
            return None
        found = None
        for known, edits in self.tokens.items():  # all are compared, whichever it is, in the same time
            if secrets.compare_digest(token.encode("utf-8", "surrogatepass"), known.encode()):
                found = edits
        return found

    def proofs(self, host: str | None, first: str | bytes) -> dict[str, Any] | None:
        """What shows that the tokens of this door are known here, where the first message of a page asks for that.

        The host is part of it: what was shown at one address says nothing about another.
        """
        thrown = (message_of(first) or {}).get("thrown")
        if host not in self.hosts or not isinstance(thrown, str) or not THROWN.fullmatch(thrown):
            return None
        about = f"bounceplan {host} {thrown}".encode()
        return {
            "kind": "known",
            "proofs": [hmac.new(token.encode(), about, hashlib.sha256).hexdigest() for token in self.tokens],
        }


def new_token() -> str:
    """A word that nobody guesses."""
    return secrets.token_urlsafe(TOKEN_BYTES)


def message_of(text: str | bytes) -> dict[str, Any] | None:
    """A message as a dictionary, or None where it is none."""
    try:
        message = json.loads(text)
    except (ValueError, RecursionError):
        return None
    return message if isinstance(message, dict) else None


def page_response(host: str, page: Callable[[str, str], str]) -> Response:
    """The page, with what browsers are told to forbid it."""
    nonce = secrets.token_urlsafe(16)
    policy = (
        f"default-src 'none'; script-src 'nonce-{nonce}'; style-src 'unsafe-inline'; img-src data: blob:; "
        f"connect-src ws://{host}; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )
    body = page(host, nonce).encode()
    return _response(http.HTTPStatus.OK, body, "text/html; charset=utf-8", {"Content-Security-Policy": policy})


def refusal(status: http.HTTPStatus, words: str) -> Response:
    """A refusal in a few words."""
    return _response(status, f"{words}\n".encode(), "text/plain; charset=utf-8", {})


def _response(status: http.HTTPStatus, body: bytes, kind: str, more: dict[str, str]) -> Response:
    headers = Headers(
        {
            "Content-Type": kind,
            "Content-Length": str(len(body)),
            "Connection": "close",
            "Cache-Control": "no-store",
            "Referrer-Policy": "no-referrer",
            "X-Content-Type-Options": "nosniff",
            "X-Frame-Options": "DENY",
            "Cross-Origin-Opener-Policy": "same-origin",
            "Cross-Origin-Resource-Policy": "same-origin",
            **more,
        }
    )
    return Response(status.value, status.phrase, headers, body)


def first_word(connection: ServerConnection) -> str | bytes:
    """The first message of a page; empty where none comes in time."""
    try:
        return connection.recv(FIRST_WORD_S)
    except TimeoutError:
        return ""
