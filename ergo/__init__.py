"""ergo reads pictures of a dental clinician at the chair and reports strained postures."""

__version__ = "0.1.0"
