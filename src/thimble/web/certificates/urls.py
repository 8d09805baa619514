"""Paths of certificates of clearance."""

from django.urls import path

from thimble.web.certificates import checking, issuing, many, own

app_name = "certificates"
PREFIX = ""
urlpatterns = [
    path("certificate/", checking.check, name="check"),
    path("certificate/<str:number>", checking.check, name="check_number"),
    path(".well-known/jwks.json", checking.public_keys, name="public_keys"),
    path("own/certificate/<str:number>/paper.pdf", own.pdf, name="own_pdf"),
    path("people/certificates", many.overview, name="overview"),
    path("people/certificates/many", many.many, name="many"),
    path("people/certificates/print", many.print_many, name="print_many"),
    path("people/<str:person>/certificate", issuing.new, name="new"),
    path("people/<str:person>/certificate/<str:number>/paper.pdf", issuing.pdf, name="pdf"),
    path(
        "people/<str:person>/certificate/<str:number>/withdraw", issuing.withdraw, name="withdraw"
    ),
    path("people/<str:person>/certificate/<str:number>/confirm", issuing.confirm, name="confirm"),
]
