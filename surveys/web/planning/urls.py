from django.urls import URLPattern, path

from surveys.web.planning import views

AT = "<slug:program>/my-season/"

urlpatterns: list[URLPattern] = [
    path(AT, views.my_season, name="my_season"),
    path(AT + "away", views.add_absence, name="absence_add"),
    path(AT + "away/<int:absence>/delete", views.delete_absence, name="absence_delete"),
    path(AT + "substitute/<int:assignment>", views.substitute, name="own_substitute"),
    path(
        AT + "substitutes/<int:substitute>/drop",
        views.drop_substitute,
        name="own_substitute_drop",
    ),
    path(AT + "offer", views.offer, name="help_offer"),
    path(
        AT + "requests/<int:plan_request>/withdraw",
        views.withdraw,
        name="route_request_withdraw",
    ),
    path("<slug:program>/free-routes/", views.free, name="free_routes"),
    path("<slug:program>/free-routes/<int:route>", views.want, name="free_route"),
]
