"""Pages that show several rooms' facts together."""

from django.urls import path

from . import dossier_views, editing

urlpatterns = [
    # Editing the record by hand.
    path("bridges/<slug:slug>/record/", editing.contents, name="record"),
    path(
        "bridges/<slug:slug>/record/source/",
        editing.add_source,
        name="record-source",
    ),
    path(
        "bridges/<slug:slug>/record/<slug:kind>/",
        editing.edit,
        name="record-add",
    ),
    path(
        "bridges/<slug:slug>/record/<slug:kind>/<int:pk>/",
        editing.edit,
        name="record-edit",
    ),
    # Dossiers.
    path("dossiers/", dossier_views.dossiers, name="dossiers"),
    path("dossiers/<slug:slug>/", dossier_views.narrative, name="dossier"),
    path("dossiers/<slug:slug>/dossier.pdf", dossier_views.pdf, name="dossier-pdf"),
]
