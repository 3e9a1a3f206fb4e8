"""What every answer and every request must obey, whatever the route."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.web.settings import Settings

LARGEST_BODY_BYTES = 1_000_000
BODY_TOO_LONG = f"This is too much at once: up to {LARGEST_BODY_BYTES // 1000} kB are read."

CONTENT_SECURITY_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
)
ANSWER_HEADERS: Mapping[str, str] = {
    "Content-Security-Policy": CONTENT_SECURITY_POLICY,
    # Not no-referrer: with it browsers send "Origin: null" from our own forms.
    "Referrer-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
}
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS", "TRACE"})
LOOPBACK = frozenset({"127.0.0.1", "localhost", "[::1]"})
ANY_ADDRESS = frozenset({"0.0.0.0", "::", "[::]"})  # noqa: S104 (recognised, not bound to)


Refuse = Callable[[Request, int, str], Response]


class AnswerHeaders:
    """Adds the headers that tell browsers what our pages may do."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on, and the answer with its headers."""

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in ANSWER_HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        await self._app(scope, receive, with_headers if scope["type"] == "http" else send)


class BodyLimit:
    """Refuses bodies that are too long: at once when they say so, else as soon as they are."""

    def __init__(self, app: ASGIApp, refuse: Refuse) -> None:
        self._app = app
        self._refuse = refuse

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on with its body counted."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        stated = Headers(scope=scope).get("content-length", "")
        if stated.isdecimal() and int(stated[:20]) > LARGEST_BODY_BYTES:
            await self._refuse(Request(scope), 413, BODY_TOO_LONG)(scope, receive, send)
            return
        seen = 0

        async def counted() -> Message:
            nonlocal seen
            message = await receive()
            seen += len(message.get("body", b""))
            if seen > LARGEST_BODY_BYTES:
                raise HTTPException(413, BODY_TOO_LONG)
            return message

        await self._app(scope, counted, send)


class OwnRequests:
    """Refuses hosts that are not ours, and changes that another site's page asks for.

    Browsers tell the truth about where a request comes from in ``Sec-Fetch-Site`` and ``Origin``;
    programs send neither and carry no one's session, so they pass. An unknown ``Host`` would let
    a foreign name that resolves to this machine read our pages.
    """

    def __init__(self, app: ASGIApp, settings: Settings, refuse: Refuse) -> None:
        self._app = app
        self._refuse = refuse
        self._own_origin = settings.public_base_url
        self._hosts = hosts_of(settings)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on when it is ours."""
        if scope["type"] == "http":
            headers = Headers(scope=scope)
            refusal = self._wrong_host(headers)
            if refusal is None and scope["method"] not in SAFE_METHODS:
                refusal = self._foreign_site(headers)
            if refusal is not None:
                await self._refuse(Request(scope), *refusal)(scope, receive, send)
                return
        await self._app(scope, receive, send)

    def _wrong_host(self, headers: Headers) -> tuple[int, str] | None:
        hosts = headers.getlist("host")
        name = host_name(hosts[0]) if len(hosts) == 1 else ""
        if not name:
            return 400, "The request does not say which host it is for."
        if not self._hosts or name in self._hosts:
            return None
        known = ", ".join(sorted(self._hosts))
        return 400, (
            f"This server answers to {known}, not to “{name[:60]}”. Behind another name, set "
            "PUMPWRIGHT_PUBLIC_BASE_URL."
        )

    def _foreign_site(self, headers: Headers) -> tuple[int, str] | None:
        site = headers.get("sec-fetch-site")
        origin = headers.get("origin")
        if site is not None:
            ours = site in {"same-origin", "none"}
        else:
            ours = origin is None or self._is_own(origin, headers["host"])
        return None if ours else (403, "This request came from a page of another site.")

    def _is_own(self, origin: str, host: str) -> bool:
        if self._own_origin is not None and origin == origin_of(self._own_origin):
            return True
        return urlsplit(origin).netloc.lower() == host.lower()


def hosts_of(settings: Settings) -> frozenset[str]:
    """Return the host names the server answers to; empty for any."""
    if settings.host in ANY_ADDRESS:
        return frozenset()
    public = urlsplit(settings.public_base_url).netloc if settings.public_base_url else ""
    bound = f"[{settings.host}]" if ":" in settings.host else settings.host
    names = {bound.lower(), host_name(public)} - {""}
    return frozenset(names | LOOPBACK)


def host_name(host: str) -> str:
    """Return the name in a Host header without its port, empty when it is not one."""
    try:
        parts = urlsplit(f"//{host}")
        name, _port = parts.hostname or "", parts.port
    except ValueError:
        return ""
    if not name or parts.username is not None or parts.path or parts.query or parts.fragment:
        return ""
    return f"[{name}]" if ":" in name else name


def origin_of(address: str) -> str:
    """Return scheme and host of an address."""
    parts = urlsplit(address)
    return f"{parts.scheme}://{parts.netloc}"
