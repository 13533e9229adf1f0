from django.urls import path

from . import deciding_views, file_views, views

app_name = "trends"
urlpatterns = [
    path("", views.watch, name="watch"),
    path("distortion/", views.distortion, name="distortion"),
    path("believable/", views.believable, name="believable"),
    path("yield/", views.yields, name="yield"),
    path("report/<str:family>/<str:month>.pdf", views.report, name="report"),
    path("watch/<str:family>.csv", file_views.watch_csv, name="watch_csv"),
    *(
        path(
            f"watch/<str:family>/<slug:key>.{form}",
            file_views.watch_file,
            {"form": form},
            name=f"watch_{form}_of",
        )
        for form in ("svg", "png", "csv")
    ),
    *(
        path(
            f"distortion/<str:family>/<slug:key>/<slug:which>.{form}",
            file_views.distortion_file,
            {"form": form},
            name=f"distortion_{form}",
        )
        for form in ("svg", "png", "csv")
    ),
    *(
        path(f"yield/<str:family>/<int:stage>.{form}", file_views.yield_file, {"form": form}, name=f"yield_{form}")
        for form in ("svg", "png", "csv")
    ),
    path("<str:family>/<slug:key>/", views.characteristic, name="characteristic"),
    path("<str:family>/<slug:key>/decisions/", deciding_views.decisions, name="decisions"),
    path("<str:family>/<slug:key>/decisions/freeze/", deciding_views.freeze, name="freeze"),
    path("<str:family>/<slug:key>/decisions/leave-out/", deciding_views.leave_out, name="leave_out"),
    path("<str:family>/<slug:key>/decisions/put-back/", deciding_views.put_back, name="put_back"),
    path("<str:family>/<slug:key>/decisions/acknowledge/", deciding_views.acknowledge, name="acknowledge"),
    path("<str:family>/<slug:key>/values.csv", views.values_csv, name="csv"),
    path("<str:family>/<slug:key>/<slug:which>.csv", views.numbers_csv, name="numbers"),
    path("<str:family>/<slug:key>/<slug:which>.svg", views.picture_file, {"form": "svg"}, name="svg"),
    path("<str:family>/<slug:key>/<slug:which>.png", views.picture_file, {"form": "png"}, name="png"),
]
