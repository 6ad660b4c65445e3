"""Addresses of the repair pages and of what other programs ask of the repairs."""

from django.urls import path

from repairs import api
from repairs.views import buy, jobs, new
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
    path("buy/", buy.buy, name="buy"),
    path("buy/list.csv", buy.as_csv, name="buy-csv"),
    path("buy/order/", buy.order, name="buy-order"),
    path("buy/orders/close/", buy.close, name="buy-close"),
    path("api/plan/", api.plan, name="api-plan"),
    path("api/jobs/", api.saved, name="api-jobs"),
    path("api/jobs/<str:number>/", api.one, name="api-job"),
    path("api/jobs/<str:number>/accept/", api.accept, name="api-job-accept"),
    path("api/jobs/<str:number>/reserve/", api.reserve, name="api-job-reserve"),
    path("api/jobs/<str:number>/release/", api.release, name="api-job-release"),
    path("api/shopping/", api.shopping, name="api-shopping"),
]
