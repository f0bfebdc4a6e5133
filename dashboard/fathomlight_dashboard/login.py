"""Who is at the page: login through an identity provider, roles from ``workspace.toml``, everything else as before.

Rights are enforced by the workspace (:meth:`Workspace.acting_as`); this file only finds out who somebody is, at
**every** run, so that a changed role, an expired token and a logout count at once. Without ``[login]`` there is
one person, who may do everything.

The identity provider's secrets are read by Streamlit from a file outside the workspace (``FATHOMLIGHT_SECRETS``,
or ``.streamlit/secrets.toml`` in the home folder); Streamlit's login (OpenID Connect, authorisation code flow)
verifies signature, issuer, audience and nonce of the token. Its cookie is good for 30 days whatever the token
says, so the token's own end is checked here.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import hmac
import logging
import threading
import time
from collections.abc import Mapping
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any
from urllib.parse import urlparse

import streamlit as st

from fathomlight.errors import ConfigError, FathomlightError, MissingExtraError
from fathomlight.workspace.rights import MAY, Person, person_of
from fathomlight_dashboard import widgets

if TYPE_CHECKING:
    from fathomlight.config_login import LoginTable
    from fathomlight.workspace import Workspace

log = logging.getLogger("fathomlight.login")

NEEDED = ("redirect_uri", "cookie_secret")
NEEDED_OF_PROVIDER = ("client_id", "client_secret", "server_metadata_url")
SHORTEST_SECRET = 32
"""Fewest characters of the secret that signs cookies."""

WORDS = {
    "": "Log in to see these waters.",
    "expired": "Your session has ended. Log in again.",
    "unverified": "Your identity provider has not verified your e-mail address, so this login does not count.",
    "unknown": "You are logged in, but you have no rights in this workspace. Ask a manager of it.",
}


class _Tokens:
    """Tokens seen and tokens ended in this process, until they run out; the store knows those ended in others."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._until: dict[tuple[str, str], float] = {}

    def add(self, what: str, token: str, until: float) -> bool:
        """Remember a token; False when it was remembered already."""
        now = time.time()
        with self._lock:
            self._until = {k: t for k, t in self._until.items() if t > now}
            known = (what, token) in self._until
            self._until[what, token] = max(until, now + 60)
        return not known

    def has(self, what: str, token: str) -> bool:
        """Return whether it is remembered."""
        return (what, token) in self._until


TOKENS = _Tokens()


def admit(ws: Workspace) -> Workspace | None:
    """Return the workspace as the person at this page may use it.

    Parameters
    ----------
    ws : Workspace
        The workspace of this process.

    Returns
    -------
    Workspace or None
        None when they may not even look; then the page says so, and offers what can be done.
    """
    login = ws.config.login
    if not login.enabled:
        return ws
    try:
        check_secrets(login)
    except FathomlightError as error:
        log.error("login is switched on but not set up: %s", error.what)
        st.title("Fathomlight", anchor=False)
        widgets.trouble(
            "Login is switched on, but not set up.",
            "Nobody gets in until it is: the server log says what is missing.",
        )
        return None
    claims = _claims()
    person = person_of(login, claims, time.time())
    if claims is not None:
        if person.problem == "expired" or _ended(ws, claims):
            person = Person("", person_of(login, None, 0).rights, "expired")
            _end(ws, claims, "expired")
        else:
            _note(ws, claims, person)
    if person.rights is None:
        _door(ws, login, person, logged_in=claims is not None and person.problem != "expired")
        return None
    return ws.acting_as(person.actor, person.rights)


def show(ws: Workspace) -> None:
    """Say in the menu who is at the page, with the button to log in or out; nothing without login."""
    login = ws.config.login
    if not login.enabled:
        return
    claims = _claims()
    if claims is None:
        st.caption("Read only: you are not logged in.")
        _log_in(login)
        return
    if not ws.actor:
        st.caption(WORDS["unverified"])
    else:
        st.caption(f"{widgets.plain(ws.actor)} · {ws.rights.role}")
        if ws.rights.waters is not None:
            names = [ws.waters[w].name for w in sorted(ws.rights.waters) if w in ws.waters]
            st.caption(f"Your waters: {widgets.plain(', '.join(names) or 'none')}")
    _log_out(
        ws,
        claims,
        f"{ws.rights.role}: {MAY[ws.rights.role]}. The session ends by itself when its token does.",
    )


def check_secrets(login: LoginTable) -> None:
    """Refuse a login that is not set up, or not safely.

    Raises
    ------
    fathomlight.errors.MissingExtraError, fathomlight.errors.ConfigError
        Say what is missing; never a secret.
    """
    for package in ("authlib", "httpx"):
        if find_spec(package) is None:
            raise MissingExtraError(package, "login", "logging in")
    found = st.secrets.get("auth") if st.secrets.load_if_toml_exists() else None
    auth: Mapping[str, Any] = found if isinstance(found, Mapping) else {}
    inner = auth if login.provider == "default" else auth.get(login.provider, {})
    table = "auth" if login.provider == "default" else f"auth.{login.provider}"
    for name, place, section in [
        *(("auth", k, auth) for k in NEEDED), *((table, k, inner) for k in NEEDED_OF_PROVIDER)
    ]:  # fmt: skip
        if not (isinstance(section, Mapping) and isinstance(section.get(place), str) and section[place]):
            raise ConfigError(f"the secrets file lacks {place} in [{name}]", where="secrets.toml")
    if len(auth["cookie_secret"]) < SHORTEST_SECRET:
        raise ConfigError(
            "cookie_secret is too short", where="secrets.toml: auth.cookie_secret",
            got=f"{len(auth['cookie_secret'])} characters", expected=f"{SHORTEST_SECRET} random characters or more",
        )  # fmt: skip
    for key, url in (
        ("redirect_uri", auth["redirect_uri"]),
        ("server_metadata_url", inner["server_metadata_url"]),
    ):
        parts = urlparse(url)
        if parts.scheme != "https" and parts.hostname not in {"127.0.0.1", "localhost", "::1"}:
            raise ConfigError(f"{key} must begin with https://", where="secrets.toml: auth")


def pseudonym(actor: str) -> str:
    """Return what stands for a person in the log: a hash keyed with the cookie secret, the same at every start."""
    auth = st.secrets.get("auth", {}) if st.secrets.load_if_toml_exists() else {}
    key = str(auth.get("cookie_secret", "")).encode()
    return hmac.new(key, actor.encode(), hashlib.sha256).hexdigest()[:16] if actor else "public"


def _claims() -> dict[str, Any] | None:
    return dict(st.user.to_dict()) if st.user.is_logged_in else None


def _token(claims: Mapping[str, Any]) -> str:
    parts = [str(claims.get(k)) for k in ("iss", "sub", "iat", "exp", "nonce")]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def _until(claims: Mapping[str, Any]) -> float:
    until = claims.get("exp")
    return float(until) if isinstance(until, int | float) else 0.0


def _note(ws: Workspace, claims: Mapping[str, Any], person: Person) -> None:
    """Write a login down once: in the audit trail by address, in the log by pseudonym."""
    if not TOKENS.add("seen", _token(claims), _until(claims)):
        return
    role = person.rights.role if person.rights else "nobody"
    log.info(
        "login", extra={"who": pseudonym(person.actor), "role": role, "outcome": person.problem or "accepted"}
    )
    if person.actor and person.rights is not None:
        ws.acting_as(person.actor, person.rights).audit("login", {"role": role})


def _ended(ws: Workspace, claims: Mapping[str, Any]) -> bool:
    """Return whether a token was ended, here or in another process."""
    token = _token(claims)
    if TOKENS.has("ended", token):
        return True
    if not ws.store.token_ended(token):
        return False
    TOKENS.add("ended", token, _until(claims))
    return True


def _end(ws: Workspace, claims: Mapping[str, Any], outcome: str) -> None:
    """End a session: this token counts in no process any more, and the browser forgets it."""
    token, until = _token(claims), _until(claims)
    if TOKENS.add("ended", token, until) and until > time.time():
        try:
            latest = min(until, time.time() + 400 * 86_400)
            ws.store.end_token(token, dt.datetime.fromtimestamp(latest + 60, dt.UTC))
        except FathomlightError as error:  # here it is ended all the same
            log.warning("the end of a session could not be told to other processes: %s", error.what)
    email = claims.get("email")
    log.info("logout", extra={"who": pseudonym(str(email or "")), "outcome": outcome})
    st.logout()


def _log_in(login: LoginTable) -> None:
    if st.button("Log in", icon=":material/login:", key="log in"):
        st.login(None if login.provider == "default" else login.provider)


def _log_out(ws: Workspace, claims: Mapping[str, Any], text: str | None = None) -> None:
    if st.button("Log out", icon=":material/logout:", key="log out", help=text):
        if ws.actor:
            ws.audit("logout")
        _end(ws, claims, "asked for")


def _door(ws: Workspace, login: LoginTable, person: Person, *, logged_in: bool) -> None:
    st.title("Fathomlight", anchor=False)
    st.caption(widgets.plain(ws.name))
    widgets.sentence(WORDS[person.problem])
    claims = _claims() if logged_in else None
    if claims is not None:
        _log_out(ws, claims)
    else:
        _log_in(login)
