"""Paths of the account's own pages."""

from django.urls import path

from thimble.web.accounts import views

app_name = "accounts"
PREFIX = ""
urlpatterns = [
    path("sign-in", views.sign_in, name="sign_in"),
    path("sign-out", views.sign_out, name="sign_out"),
    path("home", views.home, name="home"),
    path("password", views.change_password, name="change_password"),
]
