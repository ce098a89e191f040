"""Runs on a schedule and on a cluster; the only room that knows Prefect."""

from pipeline.schedule.cluster import backfill_together, cluster_of
from pipeline.schedule.flows import serve_mills
