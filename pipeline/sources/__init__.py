"""History over OPC UA and SQL, handed on as exports."""

from pipeline.sources.sources import pull_source, pull_sources, source_summary
