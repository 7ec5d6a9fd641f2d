"""Who may do what: five roles, a fixed set of permissions each, asked by every route before it does anything."""

from __future__ import annotations

from enum import StrEnum


class Role(StrEnum):
    """What a person is on this job; the keeper installs and minds the gateway."""

    SITE_LEAD = "site lead"
    INSPECTOR = "inspector"
    YARD = "yard"
    KEEPER = "keeper"
    VIEWER = "viewer"


class Permission(StrEnum):
    """One word for each kind of thing a page can do."""

    SEE = "see"
    ACKNOWLEDGE = "acknowledge"
    SHELVE = "shelve"
    ACTIVITY = "activity"  # start and stop work on an area
    NOTE = "note"  # words and pictures of the steel
    DISPOSE = "dispose"  # the inspector's word on what was exposed
    RENTALS = "rentals"  # rented pieces, their tests and returns
    SET_UP = "set-up"  # limits, sensors, people, channels, out of service
    ACCOUNTS = "accounts"


_P = Permission
_ON_SITE = frozenset({_P.SEE, _P.ACKNOWLEDGE, _P.ACTIVITY, _P.NOTE})
MAY: dict[Role, frozenset[Permission]] = {
    Role.SITE_LEAD: _ON_SITE | {_P.SHELVE},
    Role.INSPECTOR: _ON_SITE | {_P.DISPOSE},
    Role.YARD: frozenset({_P.SEE, _P.RENTALS}),
    Role.KEEPER: _ON_SITE | {_P.SHELVE, _P.SET_UP, _P.ACCOUNTS, _P.RENTALS},
    Role.VIEWER: frozenset({_P.SEE}),
}


def may(role: Role, permission: Permission) -> bool:
    """Tell whether a role has a permission."""
    return permission in MAY[role]
