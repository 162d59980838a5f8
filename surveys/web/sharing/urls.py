from django.urls import URLPattern, path

from surveys.web.sharing import views as sharing
from surveys.web.tokens import views as tokens

AT = "<slug:program>/program/sharing/"

urlpatterns: list[URLPattern] = [
    path("your-name/", tokens.named, name="named"),
    path(AT, sharing.sharing, name="sharing"),
    path(AT + "renew-link", sharing.renew, name="sharing_renew"),
    path(AT + "exact-places/", sharing.downloads, name="exact_downloads"),
    path(AT + "exact-places.csv", sharing.downloads_csv, name="exact_downloads_csv"),
    path("<slug:program>/access-tokens/", tokens.tokens, name="tokens"),
    path(
        "<slug:program>/access-tokens/<uuid:handle>/take-back",
        tokens.token_take_back,
        name="token_take_back",
    ),
]
