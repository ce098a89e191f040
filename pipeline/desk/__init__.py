"""The review desk: season, periods, findings and verdicts in a browser on this machine."""

from pipeline.desk.server import Listen, serve_desk
