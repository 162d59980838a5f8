from django.urls import path

from surveys.web.wetlands import views as wetlands

AT = "<slug:program>/program/stops/<int:stop>/changes"

urlpatterns = [
    path(AT, wetlands.changes, name="wetland_changes"),
    path(f"{AT}/<int:change>/delete", wetlands.delete, name="wetland_change_delete"),
]
