from django.urls import path

from . import audit_views, second_factor_views, tablet_views, views

app_name = "people"
urlpatterns = [
    path("sign-in/", views.sign_in, name="sign_in"),
    path("sign-in/code/", second_factor_views.sign_in_code, name="sign_in_code"),
    path("sign-out/", views.sign_out, name="sign_out"),
    path("account/", views.account, name="account"),
    path("account/password/", views.own_password, name="own_password"),
    path("account/language/", views.own_language, name="own_language"),
    path("account/pin/", views.own_pin, name="own_pin"),
    path("account/second-factor/", second_factor_views.second_factor, name="second_factor"),
    path("account/second-factor/begin/", second_factor_views.begin, name="begin_second_factor"),
    path("account/second-factor/confirm/", second_factor_views.confirm, name="confirm_second_factor"),
    path("account/second-factor/renew/", second_factor_views.renew, name="renew_recovery_codes"),
    path("account/second-factor/end/", second_factor_views.end, name="end_second_factor"),
    path("people/", views.people, name="people"),
    path("people/add/", views.add_person, name="add_person"),
    path("people/<uuid:uuid>/", views.person, name="person"),
    path("people/<uuid:uuid>/change/", views.change_person, name="change_person"),
    path("people/<uuid:uuid>/roles/", views.give_role, name="give_role"),
    path("people/<uuid:uuid>/roles/end/", views.end_role, name="end_role"),
    path("people/<uuid:uuid>/deputies/", views.name_deputy, name="name_deputy"),
    path("people/<uuid:uuid>/deputies/<int:deputy_id>/end/", views.end_deputy, name="end_deputy"),
    path("people/<uuid:uuid>/password/", views.temporary_password, name="temporary_password"),
    path("people/<uuid:uuid>/pin/", views.temporary_pin, name="temporary_pin"),
    path("people/<uuid:uuid>/second-factor/end/", views.end_second_factor, name="end_second_factor_of"),
    path("people/<uuid:uuid>/charts/", views.worker_charts, name="worker_charts"),
    path("people/<uuid:uuid>/charts/end/", views.end_worker_charts, name="end_worker_charts"),
    path("people/<uuid:uuid>/leave/", views.leave, name="leave"),
    path("tablets/", tablet_views.tablets, name="tablets"),
    path("tablets/enrol/", tablet_views.enrol, name="enrol"),
    path("tablets/<uuid:uuid>/code/", tablet_views.code, name="tablet_code"),
    path("tablets/<uuid:uuid>/revoke/", tablet_views.revoke, name="revoke_tablet"),
    path("audit/", audit_views.audit, name="audit"),
    path("audit/check/", audit_views.check_audit, name="check_audit"),
]
