"""The numbers on packages: which vaccine each is, who said so, and setting one right."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from thimble.web import clock, log
from thimble.web.access import account_of, needs
from thimble.web.clinic.codes import codes, say
from thimble.web.clinic.to_give import product_named
from thimble.web.models import ProductCode
from thimble.web.people.card import suggestions
from thimble.web.people.found import account_names
from thimble.web.people.roster import roster


@never_cache
@needs("view_people", "edit_people")
@require_http_methods(["GET", "POST"])
def all_codes(request: HttpRequest) -> HttpResponse:
    """Every number that was named; a product is said anew, and what was said before stays below it."""
    fault = ""
    gtin, typed = request.POST.get("gtin", ""), request.POST.get("product", "").strip()
    if request.method == "POST":
        product = product_named(typed)
        if product is None:
            fault = "Say which product it is: a CVX code or its name."
        elif not ProductCode.objects.filter(gtin=gtin).exists():
            fault = "This number was never scanned here: scan it at a session."
        elif say(gtin, product, by=account_of(request).pk, now=clock.now()):
            log.event("product_code_named", account=account_of(request).pk)
            messages.success(request, f"{gtin} is {product.name} from now on.")
            return redirect("clinic:codes")
        else:
            fault = f"{gtin} is {product.name} already: nothing was changed."
    context = {
        "codes": codes(roster().people(clock.now()), account_names()),
        "products": suggestions(),
        "fault": fault,
        "gtin": gtin,
        "typed": typed,
    }
    return render(request, "clinic/codes.html", context, status=422 if fault else 200)
