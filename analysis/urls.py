"""Pages that show several rooms' facts together."""

from django.urls import path

from . import (
    archive_views,
    cite_views,
    dossier_print_views,
    dossier_views,
    due_views,
    editing,
    form_compare_views,
    form_pages,
    list_pages,
    review,
    truss_page,
    views,
)

urlpatterns = [
    path("bridges/<slug:slug>/", views.bridge_page, name="bridge"),
    path("bridges/<slug:slug>/history/", views.history_page, name="history"),
    path(
        "bridges/<slug:slug>/trusses/<slug:address>/",
        truss_page.truss_page,
        name="truss",
    ),
    path(
        "bridges/<slug:slug>/trusses/<slug:address>/check-file.json",
        truss_page.check_file,
        name="check-file",
    ),
    path("lists/", list_pages.contents, name="lists"),
    path("lists/<slug:what>/", list_pages.page, name="list"),
    path("lists/<slug:what>.csv", list_pages.table, name="list-table"),
    # Forms of truss.
    path("forms/", form_pages.key_page, name="forms"),
    path("forms/compare/", form_compare_views.compare_page, name="forms-compare"),
    path("field/forms/", form_pages.field_page, name="field-forms"),
    path("forms/<slug:form>/", form_pages.form_page, name="form"),
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
    # What to revisit next.
    path("due/", due_views.due_list, name="due"),
    path("due/drive.gpx", due_views.drive_file, name="due-drive"),
    path("due/sheets/", due_views.sheets, name="due-sheets"),
    path("due/take/", due_views.take, name="due-take"),
    # Review.
    path("review/", review.queue, name="review"),
    path("review/<uuid:client_id>/", review.visit, name="review-visit"),
    # Citing, and what was cited: short and for good. A number may hold a slash.
    path("bridges/<slug:slug>/cite/", cite_views.cite, name="cite"),
    path(
        "c/<path:number>/<str:moment>.json",
        cite_views.facts,
        name="as-recorded-facts",
    ),
    path("c/<path:number>/<str:moment>", cite_views.page, name="as-recorded"),
    # The record as one file.
    path("keeper/archive/", archive_views.page, name="archive"),
    path("keeper/archive/write/", archive_views.ask, name="archive-ask"),
    path("keeper/archive/<uuid:token>.zip", archive_views.take, name="archive-file"),
    # Dossiers.
    path("dossiers/", dossier_views.dossiers, name="dossiers"),
    path("dossiers/<slug:slug>/", dossier_views.narrative, name="dossier"),
    path(
        "dossiers/<slug:slug>/dossier.pdf", dossier_print_views.pdf, name="dossier-pdf"
    ),
    path(
        "dossiers/<slug:slug>/documents/<slug:document>.pdf",
        dossier_print_views.pdf,
        name="dossier-document",
    ),
    path(
        "dossiers/<slug:slug>/package/",
        dossier_print_views.package,
        name="dossier-package",
    ),
    path(
        "dossiers/<slug:slug>/waiting/<uuid:token>/",
        dossier_print_views.waiting,
        name="dossier-waiting",
    ),
    path(
        "dossiers/<slug:slug>/package/<uuid:token>.zip",
        dossier_print_views.package_file,
        name="dossier-package-file",
    ),
    path(
        "dossiers/<slug:slug>/photographs/",
        dossier_views.photographs,
        name="dossier-photographs",
    ),
    path("dossiers/<slug:slug>/sign/", dossier_views.sign, name="dossier-sign"),
    path("dossiers/<slug:slug>/case/", dossier_views.open_case, name="dossier-case"),
]
