"""Pages of what was seen."""

from django.urls import path

from . import views

app_name = "surveys"
urlpatterns = [
    path("photos/<uuid:client_id>/<str:size>.jpg", views.photo, name="photo"),
    path("photos/<uuid:client_id>/original", views.original, name="original"),
]
