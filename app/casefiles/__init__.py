"""Case files: all about one case, protest or appeal, on paper and as a part of the record."""
