"""How large a sheet may be before it is refused unread.

The numbers are our own: a start list of 2,000 heats has 16,000 rows and about 1 MiB, so each
limit leaves ample room for the largest meet and little for a file made to do harm.
"""

from __future__ import annotations

MAX_FILE_BYTES = 8 * 1024 * 1024
MAX_ROWS = 50_000
MAX_COLUMNS = 64
MAX_CELL_LENGTH = 500
# Characters of the texts that are kept, as long as the tables of a meet hold them.
MAX_EVENT_LENGTH = 120
MAX_ROUND_LENGTH = 120
MAX_BIB_LENGTH = 60
MAX_TEAM_LENGTH = 500
MAX_PROBLEMS = 200

# XLSX is a zip archive: these hold for what comes out of it.
MAX_PARTS = 1_000
MAX_UNPACKED_BYTES = 64 * 1024 * 1024
# Below this size a part is harmless however well it packs.
RATIO_FREE_BYTES = 1024 * 1024
# Repetitive but honest sheets pack up to about 60 to 1; DEFLATE itself ends near 1,032 to 1.
MAX_RATIO = 200
# Tags, opening and closing: what an XML parser has to work for. The largest list that the other
# limits allow, with all its texts inside the cells, has about 3.5 million.
MAX_TAGS = 4_000_000
# One tag with its attributes, or the text after it. A cell's text has at most 32,767 characters,
# which are 96 KiB.
MAX_TAG_BYTES = 128 * 1024
# SpreadsheetML needs about ten.
MAX_DEPTH = 64
# Cells of the sheet. Blank cells that only carry a format count.
MAX_CELLS = 1_000_000
