"""Runs on a schedule and on a cluster; the only room that knows Prefect."""

import os

# Read by Prefect on import: nothing is reported to anybody unless the site asks for it.
os.environ.setdefault("PREFECT_SERVER_ANALYTICS_ENABLED", "false")
os.environ.setdefault("DO_NOT_TRACK", "1")
# The server's own pages then ask the server they came from, whatever its port.
os.environ.setdefault("PREFECT_SERVER_UI_API_URL", "/api")
os.environ.setdefault("PREFECT_SERVER_UI_SHOW_PROMOTIONAL_CONTENT", "false")

from pipeline.schedule.cluster import backfill_together, cluster_of
from pipeline.schedule.flows import serve_mills
