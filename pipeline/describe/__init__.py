"""A mill's description drafted from its exports."""

from pipeline.describe.describe import describe_exports
from pipeline.describe.draft import DraftedVessel
from pipeline.describe.head_lines import Money
from pipeline.describe.page import draft_page, write_page
from pipeline.describe.written import draft_summary, write_draft
