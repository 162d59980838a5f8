from django.urls import URLPattern, path

from surveys.web.route_import import edit_views, views

AT = "<slug:program>/program/routes/import"
ONE = f"{AT}/<uuid:places>"

urlpatterns: list[URLPattern] = [
    path(AT, views.start, name="route_import_start"),
    path(ONE, views.preview, name="route_import"),
    path(f"{ONE}/columns", edit_views.columns, name="route_import_columns"),
    path(f"{ONE}/options", edit_views.options, name="route_import_options"),
    path(f"{ONE}/all", edit_views.change_all, name="route_import_all"),
    path(f"{ONE}/routes/<int:position>", edit_views.route, name="route_import_route"),
    path(f"{ONE}/commit", views.commit, name="route_import_commit"),
    path(f"{ONE}/undo", views.undo, name="route_import_undo"),
    path(f"{ONE}/discard", views.discard, name="route_import_discard"),
]
