"""What every page shows around its own matter: the parts a person may use, the roles held, the site."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.utils import timezone

from qcapp.lib.spoken import page_language, said
from qcapp.messages.queries import unread_count
from qcapp.people.queries import role_names
from qcapp.people.roles import ACTS, Act

from .helping import guide_for, help_for

MENU = (
    ("Floor", "/floor/", Act.RECORD_RESULT),
    ("Units", "/units/", Act.LOOK_UP_UNIT),
    ("Goods", "/goods/", Act.MOVE_ITEM),
    ("Customers", "/customers/", Act.SEE_CUSTOMERS),
    ("Nonconformances", "/nonconformances/", Act.LOOK_AT_REPORTS),
    ("Improvement", "/improvement/", Act.LOOK_AT_IMPROVEMENT),
    ("Plans", "/plans/", Act.LOOK_AT_PLAN),
    ("Welding", "/welding/", Act.CONFIRM_WELDER),
    ("Limits", "/limits/", Act.LOOK_AT_PLAN),
    ("Gauges", "/gauges/", Act.LOOK_AT_GAUGES),
    ("Trends", "/trends/", Act.LOOK_AT_TRENDS),
    ("People", "/people/", Act.KEEP_PEOPLE),
    ("Tablets", "/tablets/", Act.LOOK_AT_TABLETS),
    ("Audit", "/audit/", Act.READ_AUDIT),
    ("System", "/system/", Act.LOOK_AT_SYSTEM),
)


def page(request: HttpRequest) -> dict[str, object]:
    """Menu, roles and site words for base.html. Costs one query, and none for a stranger."""
    shown: dict[str, object] = {
        "site_name": settings.QCAPP_SITE_NAME,
        "site_zone": settings.QCAPP_SITE_ZONE,
        "demonstration": settings.QCAPP_DEMO,
    }
    person: Any = getattr(request, "user", None)
    known = person is not None and person.is_authenticated
    held = role_names(person, timezone.now()) if known else frozenset()
    if match := request.resolver_match:
        shown["page_help"] = help_for(match.view_name, page_language(), held)
        shown["page_guide"] = guide_for(match.view_name, held)
    if not known:
        return shown
    shown["unread"] = lambda: unread_count(person)  # asked by the pages that show it, when they do
    shown["my_roles"] = ", ".join(sorted(said(role.label) for role in held)) or said("no role today")
    shown["menu"] = [
        {"text": said(text), "url": url, "here": request.path.startswith(url)}
        for text, url, act in MENU
        if ACTS[act] & held
    ]
    return shown
