"""Floor 1: a project's records in one DuckDB file, and spreadsheets read into them. The only place that knows SQL."""

from doe.store.journal import Entry
from doe.store.project_file import ProjectFile
from doe.store.read_log import Log, read_log

__all__ = ["Entry", "Log", "ProjectFile", "read_log"]
