"""What a check of the crew's work writes: the list to recount, the report, and what only the manager sees."""

from geoprune.deliver.audit.files import Target, write_audit, write_hours, write_recount

__all__ = ["Target", "write_audit", "write_hours", "write_recount"]
