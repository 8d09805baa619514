"""All paths: each screen brings its own (see `thimble.web.screens`)."""

from django.urls import include, path

from thimble.web.screens import modules

urlpatterns = [path(module.PREFIX, include(module)) for module in modules()]

handler400 = "thimble.web.errors.bad_request"
handler403 = "thimble.web.errors.forbidden"
handler404 = "thimble.web.errors.not_found"
handler500 = "thimble.web.errors.server_error"
