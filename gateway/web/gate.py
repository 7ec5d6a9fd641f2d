"""The gate before every page: who is asking, may they, and is it their own wish.

Nothing passes without a session or a key, but for the short list `OPEN`; a new route is closed until it says which
permission it takes. A request that changes something must come from the gateway's own pages (Sec-Fetch-Site or
Origin) and carry the token of the session, or a program's key.
Sources: RFC 6265bis, 4.1.3 (`__Host-`); W3C Fetch Metadata Request Headers; RFC 6750, 2.1 (bearer).
"""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Annotated
from urllib.parse import quote

from fastapi import Depends, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response
from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send

from gateway.web.accounts import Account, Accounts
from gateway.web.guard import is_cross_site
from gateway.web.roles import Permission, Role, may
from gateway.web.taste import Taste, taste_of

# The last is the link in a message, which is its own key.
OPEN = ("/sign-in", "/begin", "/health", "/static/", "/sw.js", "/acknowledge/")
CHANGES = frozenset({"POST", "PUT", "PATCH", "DELETE"})
LOCAL = ("127.0.0.1", "::1")
LOCAL_NAMES = ("127.0.0.1", "localhost", "[::1]")
BY_ITSELF = Account("demo", "", Role.KEEPER, Taste())


class TurnedAway(Exception):
    """A request that is refused: its status and the sentence a person reads."""

    def __init__(self, status: int, why: str) -> None:
        super().__init__(why)
        self.status, self.why = status, why


@dataclass(frozen=True, slots=True)
class Signed:
    """Who is asking. token: what their forms must carry. by_itself: nobody signed in, the site is simulated."""

    account: Account
    token: str
    secret: str = ""
    key_scope: str = ""
    by_itself: bool = False

    @property
    def person(self) -> str:
        """The id the journal keeps."""
        return self.account.person

    @property
    def role(self) -> Role:
        """What this person is on the job."""
        return self.account.role

    @property
    def taste(self) -> Taste:
        """How this person reads."""
        return self.account.taste

    def may(self, permission: Permission) -> bool:
        """Tell whether this person may do that."""
        return may(self.role, permission)


@dataclass(slots=True)
class Door:
    """Knows who is asking. by_itself: the account a visitor on this machine gets while the site is simulated."""

    accounts: Accounts
    wall_ms: Callable[[], int]
    secure: bool = False
    by_itself: Callable[[], Account | None] = lambda: None
    _own: str = field(default_factory=lambda: secrets.token_urlsafe(32))

    @property
    def cookie(self) -> str:
        """The cookie's name; over TLS one that no other host and no plain page can set."""
        return "__Host-dewgate" if self.secure else "dewgate"

    def who(self, request: Request) -> Signed | None:
        """Return who is asking, or None."""
        bearer = request.headers.get("authorization", "")
        if bearer.startswith("Bearer "):
            found = self.accounts.of_key(bearer[7:], self.wall_ms())
            return found and Signed(found[0], "", bearer[7:], found[1])
        secret = request.cookies.get(self.cookie, "")
        account = self.accounts.session(secret, self.wall_ms()) if secret else None
        if account:
            return Signed(account, _token(secret), secret)
        return self._visitor(request)

    def _visitor(self, request: Request) -> Signed | None:
        """On this machine, by this machine's own name (else any page could point a name of its own here)."""
        account = self.by_itself()
        host = request.headers.get("host", "").rpartition(":")[0] or request.headers.get("host", "")
        if not account or not request.client or request.client.host not in LOCAL or host not in LOCAL_NAMES:
            return None
        taste = taste_of(request.cookies.get("dewgate-taste", "").replace("|", " "))
        mine = Account(account.name, account.person, account.role, taste)
        return Signed(mine, self._own, by_itself=True)

    def still(self, who: Signed) -> bool:
        """Tell whether an open stream may go on: session or key is still good, and the role is the same."""
        if who.by_itself:
            return self.by_itself() is not None
        if who.key_scope:
            key = self.accounts.of_key(who.secret, self.wall_ms())
            return key is not None and key[0].role is who.role
        found = self.accounts.session(who.secret, self.wall_ms(), seen=False)
        return found is not None and found.role is who.role

    def let_in(self, answer: Response, name: str, client: str) -> None:
        """Open a session and give its secret to the browser."""
        secret = self.accounts.open(name, client, self.wall_ms())
        answer.set_cookie(self.cookie, secret, httponly=True, samesite="lax", secure=self.secure, path="/")

    def let_out(self, answer: Response) -> None:
        """Take the secret back, and what the browser kept for times without a link."""
        answer.delete_cookie(self.cookie, httponly=True, samesite="lax", secure=self.secure, path="/")
        answer.headers["Clear-Site-Data"] = '"cache", "storage"'


def _token(secret: str) -> str:
    """The token of a session's forms, made from its secret so that nothing more has to be kept."""
    return sha256(f"form {secret}".encode()).hexdigest()


class Gate:
    """Stands before the routes: refuses foreign requests, and asks everyone else to sign in."""

    def __init__(self, app: ASGIApp, door: Door) -> None:
        """Args: app: the routes. door: who knows who is asking."""
        self._app, self._door = app, door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, or answer."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = Request(scope)
        who = self._door.who(request)
        scope.setdefault("state", {})["signed"] = who
        answer = self._refusal(request, who)
        await (answer or self._app)(scope, receive, send)

    def _refusal(self, request: Request, who: Signed | None) -> Response | None:
        path, changes = request.url.path, request.method in CHANGES
        if changes and not (who and who.key_scope) and is_cross_site(request.headers):
            return _plain_answer(request, 403, "This request came from another site. Nothing was done.")
        if who is None and not is_open(path):
            return _ask_to_sign_in(request)
        if who and who.key_scope == "read" and changes:
            return _plain_answer(request, 403, "This key may only read.")
        return None


def is_open(path: str) -> bool:
    """Tell whether a path is for everyone."""
    return any(path == each or (each.endswith("/") and path.startswith(each)) for each in OPEN)


def wants_json(headers: Headers) -> bool:
    """Tell whether a script or program asks, not a person's browser."""
    return headers.get("accept", "").startswith("application/json") or "authorization" in headers


def _ask_to_sign_in(request: Request) -> Response:
    """A page is answered with the way to sign in and back; anything else with the bare word."""
    if request.method == "GET" and "text/html" in request.headers.get("accept", ""):
        back = request.url.path + (f"?{request.url.query}" if request.url.query else "")
        return RedirectResponse(f"/sign-in?back={quote(back, safe='')}", 303)
    return _plain_answer(request, 401, "Sign in first.")


def _plain_answer(request: Request, status: int, why: str) -> Response:
    if wants_json(request.headers):
        return JSONResponse({"error": why}, status)
    return Response(why, status, media_type="text/plain")


def signed(request: Request) -> Signed:
    """Return who is asking; the gate has made sure that somebody is."""
    who: Signed | None = request.state.signed
    if who is None:
        raise TurnedAway(401, "Sign in first.")
    return who


def needs(permission: Permission) -> Callable[[Request], Signed]:
    """Return what a route depends on: who is asking, refused without the permission."""

    def check(request: Request) -> Signed:
        who = signed(request)
        if not who.may(permission):
            raise TurnedAway(403, f"This needs the permission “{permission}”, which a {who.role} does not have.")
        return who

    return check


# What routes write in their signature.
Sees = Annotated[Signed, Depends(needs(Permission.SEE))]
Acknowledges = Annotated[Signed, Depends(needs(Permission.ACKNOWLEDGE))]
Shelves = Annotated[Signed, Depends(needs(Permission.SHELVE))]
SetsActivity = Annotated[Signed, Depends(needs(Permission.ACTIVITY))]
WritesNotes = Annotated[Signed, Depends(needs(Permission.NOTE))]
Disposes = Annotated[Signed, Depends(needs(Permission.DISPOSE))]
HandlesRentals = Annotated[Signed, Depends(needs(Permission.RENTALS))]
SetsUp = Annotated[Signed, Depends(needs(Permission.SET_UP))]
MindsAccounts = Annotated[Signed, Depends(needs(Permission.ACCOUNTS))]
