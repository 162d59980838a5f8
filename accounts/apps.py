from django.apps import AppConfig


class AccountsConfig(AppConfig):
    name = "accounts"
    verbose_name = "People"

    def ready(self) -> None:
        from accounts import failed_sign_ins, second_factor, signals  # noqa: F401, PLC0415 - allauth's need the models, loaded now
