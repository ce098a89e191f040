"""A mill's description drafted from its exports."""

from pipeline.describe.asking import by_number
from pipeline.describe.describe import describe_exports, draft_summary, write_draft
from pipeline.describe.draft import Question
from pipeline.describe.page import draft_page, write_page
from pipeline.describe.taken import parsed
