from django.urls import path

from . import asking_views, used_views, views

app_name = "affected"
urlpatterns = [
    path("nonconformances/<str:number>/suspects/", views.suspects, name="suspects"),
    path("nonconformances/<str:number>/suspects/hold/", views.hold, name="hold"),
    path("where-used/", used_views.where_used, name="used"),
    path("affected/", asking_views.ask, name="ask"),
    path("affected/keep/", asking_views.keep, name="keep"),
    path("affected/<str:number>/", asking_views.kept, name="list"),
    path("affected/<str:number>/list.<str:form>", asking_views.file, name="file"),
    path("affected/<str:number>/hold/", asking_views.hold, name="hold_listed"),
    path("affected/<str:number>/field-action/", asking_views.owners, name="owners"),
]
