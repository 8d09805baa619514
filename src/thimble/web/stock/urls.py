"""Paths of the stock."""

from django.urls import path

from thimble.web.screens import Link
from thimble.web.stock import views

app_name = "stock"
PREFIX = "stock/"
NAVIGATION = (Link("Stock", "stock:shelf", "keep_stock", order=18),)
urlpatterns = [
    path("", views.shelf, name="shelf"),
    path("lot", views.lot, name="lot"),
]
