"""A mill's description drafted from its exports."""

from pipeline.describe.describe import describe_exports, told, write_draft
