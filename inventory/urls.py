"""Addresses of the crib: its pages, and what other programs ask."""

from django.urls import path, register_converter
from django.urls.converters import StringConverter

from inventory import api
from inventory.views import (
    attention,
    catalogue,
    counter,
    counting,
    items,
    labels,
    order_points,
    orders,
    policy,
    sheets,
    shelf,
)
from inventory.views.threads import threads


class NameConverter(StringConverter):
    """A tag, a number or a name as somebody wrote it, slashes and all; no name has a zero, which no database keeps."""

    regex = r"[^\0]+"


register_converter(NameConverter, "name")

urlpatterns = [
    path("shelf/", shelf.shelf, name="shelf"),
    path("shelf/sheets/", sheets.sheets, name="sheets"),
    path("shelf/sheets/send/", sheets.send, name="sheet-send"),
    path("shelf/sheets/export/", sheets.export, name="sheet-export"),
    path("shelf/sheets/<int:pk>/", sheets.sheet, name="sheet"),
    path("shelf/sheets/<int:pk>/columns/", sheets.columns, name="sheet-columns"),
    path("shelf/sheets/<int:pk>/apply/", sheets.apply, name="sheet-apply"),
    path("shelf/units/<name:tag>/", shelf.unit, name="unit"),
    path("shelf/new-item/", items.new, name="item-new"),
    path("shelf/care/<name:number>/", items.care, name="item-care"),
    path("shelf/measures/<name:number>/", items.measures, name="item-measures"),
    path("shelf/take-in/<name:number>/", items.take_in, name="item-take-in"),
    path("shelf/items/<name:number>/", shelf.item, name="item"),
    path("shelf/batches/<int:pk>/", shelf.batch, name="batch"),
    path("shelf/bins/<name:site>/<name:name>/", shelf.bin_, name="bin"),
    path("shelf/moves/units/<name:tag>/", shelf.move_unit, name="unit-move"),
    path("shelf/moves/batches/<int:pk>/", shelf.move_batch, name="batch-move"),
    path("shelf/counter/", counter.counter, name="counter"),
    path("shelf/counter/issue/<name:label>/", counter.issue, name="counter-issue"),
    path("shelf/counter/take-back/<name:label>/", counter.take_back, name="counter-take-back"),
    path("shelf/counter/kit/<name:label>/", counter.kit, name="counter-kit"),
    path("shelf/order-points/", order_points.listed, name="order-points"),
    path("shelf/order-points/set/<name:number>/", order_points.set_, name="order-point-set"),
    path("shelf/order-points/take/<name:number>/", order_points.take, name="order-point-take"),
    path("shelf/counts/", counting.counts, name="counts"),
    path("shelf/counts/start/", counting.start, name="count-start"),
    path("shelf/counts/<int:pk>/", counting.count, name="count"),
    path("shelf/counts/<int:pk>/bins/<int:bin>/", counting.sheet, name="count-sheet"),
    path("shelf/counts/<int:pk>/bins/<int:bin>/enter/", counting.enter, name="count-enter"),
    path("shelf/counts/<int:pk>/review/", counting.review, name="count-review"),
    path("shelf/counts/<int:pk>/decide/", counting.decide, name="count-decide"),
    path("shelf/counts/<int:pk>/again/", counting.again, name="count-again"),
    path("shelf/counts/<int:pk>/post/", counting.post, name="count-post"),
    path("shelf/counts/<int:pk>/abandon/", counting.abandon, name="count-abandon"),
    path("orders/receive/<name:number>/", orders.receive, name="order-receive"),
    path("orders/<name:number>/", orders.order, name="order"),
    path("attention/", attention.needs_attention, name="attention"),
    path("attention/calendar/", attention.address, name="calendar-address"),
    path("calendar/<str:secret>.ics", attention.calendar, name="calendar"),
    path("settings/crib/", policy.shown, name="crib-settings"),
    path("settings/crib/set/", policy.settle, name="crib-settings-settle"),
    path("shelf/catalogue/", catalogue.overview, name="catalogue"),
    path("shelf/catalogue/supersede/", catalogue.supersede, name="item-supersede"),
    path("shelf/catalogue/retire/", catalogue.retire, name="item-retire"),
    path("shelf/labels/", labels.labels, name="labels"),
    path("shelf/labels.pdf", labels.pdf, name="labels-pdf"),
    path("tag/", labels.field, name="tag-field"),
    path("tag/<name:tag>", labels.tag, name="tag"),
    path("threads/", threads, name="threads"),
    path("api/shelf/", api.shelf, name="api-shelf"),
    path("api/threads/", api.thread, name="api-thread"),
    path("api/threads/identify/", api.identified, name="api-identify"),
]
