"""Addresses of the repair pages and of what other programs ask of the repairs."""

from django.urls import path

from repairs import api
from repairs.views import buy, card, figures, jobs, new, proving, settings
from repairs.views.today import today

urlpatterns = [
    path("", today, name="today"),
    path("jobs/", jobs.listed, name="jobs"),
    path("jobs/new/", new.new, name="job-new"),
    path("jobs/new/reading/", new.reading, name="job-new-reading"),
    path("jobs/<str:number>/", jobs.sheet, name="job"),
    path("jobs/<str:number>/accept/", jobs.accept, name="job-accept"),
    path("jobs/<str:number>/reserve/", jobs.reserve, name="job-reserve"),
    path("jobs/<str:number>/release/", jobs.release, name="job-release"),
    path("jobs/<str:number>/cards/", card.print_, name="job-card-print"),
    path("jobs/<str:number>/cards/<int:card>.pdf", card.pdf, name="job-card"),
    path("jobs/<str:number>/proving/", proving.sheet, name="job-proving"),
    path("jobs/<str:number>/proving/sign/", proving.sign, name="job-proving-sign"),
    path("jobs/<str:number>/proving/measure/", proving.measure, name="job-proving-measure"),
    path("jobs/<str:number>/proving/except/", proving.exception, name="job-proving-except"),
    path("jobs/<str:number>/proving/second/", proving.second, name="job-proving-second"),
    path("jobs/<str:number>/proving/hand-over/", proving.hand_over, name="job-proving-hand-over"),
    path("buy/", buy.buy, name="buy"),
    path("buy/list.csv", buy.as_csv, name="buy-csv"),
    path("buy/order/", buy.order, name="buy-order"),
    path("buy/orders/close/", buy.close, name="buy-close"),
    path("figures/", figures.figures, name="figures"),
    path("settings/", settings.settings, name="settings"),
    path("settings/set/", settings.settle, name="settings-settle"),
    path("api/plan/", api.plan, name="api-plan"),
    path("api/jobs/", api.saved, name="api-jobs"),
    path("api/jobs/<str:number>/", api.one, name="api-job"),
    path("api/jobs/<str:number>/accept/", api.accept, name="api-job-accept"),
    path("api/jobs/<str:number>/reserve/", api.reserve, name="api-job-reserve"),
    path("api/jobs/<str:number>/release/", api.release, name="api-job-release"),
    path("api/shopping/", api.shopping, name="api-shopping"),
]
