from django.apps import AppConfig
from django.core.checks import register


class WebConfig(AppConfig):
    name = "surveys.web"
    label = "web"
    verbose_name = "Screens"

    def ready(self) -> None:
        from surveys.web.security_txt import check_expires  # noqa: PLC0415 - needs the settings

        register(check_expires)
