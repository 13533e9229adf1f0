"""Which pages, templates and modules speak every language of the site: what somebody meets on a tablet.

The pages are those that a shared tablet opens (`people.tablet_guard.ALLOWED`), and what inspectors, welders, goods-in
and dispatch open on a tablet on which they sign in themselves. The other pages are the office's, which speaks English
and German. The templates and modules below are what these pages draw, and what they can say, refusals included.
"""

from __future__ import annotations

ROOMS = frozenset({"api", "capture"})  # what a tablet asks of the API, and the floor's own pages
PAGES = frozenset(
    """
    people:sign_in people:sign_in_code people:sign_out people:account people:own_password people:own_language
    people:own_pin people:second_factor people:begin_second_factor people:confirm_second_factor
    people:renew_recovery_codes people:end_second_factor people:enrol history:home inspections:open
    inspections:witnesses gauges:study gauges:read_study nonconformance:raise nonconformance:raise-lot goods:overview
    goods:receive goods:report goods:hold goods:lift goods:delivery goods:certificate goods:new_lot goods:lot
    goods:verification goods:move goods:build_in goods:heat customers:dispatch evidence:file evidence:small
    """.split()  # noqa: SIM905 - a list of names reads better
)
TEMPLATES = frozenset(
    """
    base.html components/form.html customers/dispatch.html errors/refusal.html gauges/study.html
    goods/build_in.html goods/delivery.html goods/form.html goods/heat.html goods/lot.html goods/move.html
    goods/overview.html goods/receive.html goods/done_outside.html goods/send_outside.html goods/severity.html
    goods/verification.html history/home.html inspections/open.html inspections/witnesses.html
    nonconformance/raise.html nonconformance/raise_lot.html people/account.html people/enrol.html people/fields.html
    people/problem.html people/second_factor.html people/sign_in.html people/sign_in_code.html
    """.split()  # noqa: SIM905
)
# A module, or every module of a folder; each is taken whole.
MODULES = tuple(
    """
    api/ config/context.py core/checkpoints/ core/findings.py core/formulas.py core/identification.py core/materials/
    core/metrology/quantities.py core/metrology/thermal.py core/statistics/agreement.py core/statistics/frequency.py
    core/statistics/gauge_study.py core/statistics/readings.py core/statistics/sampling.py
    core/statistics/switching.py core/workflow.py customers/forms.py customers/queries.py
    customers/services.py customers/views.py evidence/ gauges/models.py gauges/queries.py gauges/services.py
    gauges/study_picture.py gauges/study_views.py gauges/studying.py goods/ inspections/forms.py inspections/models.py
    inspections/queries/__init__.py inspections/services/__init__.py inspections/services/beside.py
    inspections/services/circumstances.py inspections/services/handed_in.py inspections/services/operations.py
    inspections/services/recording.py inspections/services/rules.py inspections/services/tablet_signing.py
    inspections/services/witnessing.py inspections/states.py inspections/views.py lib/band_picture.py lib/kept_files.py
    lib/plain_text.py lib/refusals.py nonconformance/forms.py nonconformance/models.py nonconformance/place_views.py
    nonconformance/queries/__init__.py nonconformance/services/by_hand.py nonconformance/services/correcting.py
    nonconformance/services/picturing.py nonconformance/services/raising.py nonconformance/states.py
    nonconformance/views.py people/access.py people/codes.py people/forms.py people/models.py people/pins.py
    people/queries.py people/roles.py people/second_factor_views.py people/services/accounts.py
    people/services/attempts.py people/services/proofs.py people/services/rights.py people/services/second_factor.py
    people/services/tablets.py people/services/turns.py people/tablet_guard.py people/tablet_keys.py
    people/tablet_views.py people/views.py production/models/ production/queries/ production/services/
    production/states.py
    """.split()  # noqa: SIM905
)
