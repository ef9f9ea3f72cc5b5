"""Pictures as they go over HTTP."""

from __future__ import annotations

from datetime import datetime

from pydantic import Field

from app.ids import OfficialId, PictureId, ReportId
from app.wire import Wire


class PictureOut(Wire):
    """A picture of a report. Its copy is rebuilt from the pixels alone, and is what people see."""

    id: PictureId
    report: ReportId
    official: OfficialId
    official_name: str = Field(description="who added it")
    received_at: datetime = Field(description="which may be long after the report was written")
    media_type: str = Field(description="of the original")
    size: int = Field(description="of the original, in bytes")
    sha256: str = Field(description="of the original, as it came")
    shown_sha256: str = Field(description="of the copy, a JPEG")
    copy_path: str = Field(description="where the copy is read: “/api/meets/…/copy.jpg”")
    width: int = Field(description="of the copy, in pixels")
    height: int
